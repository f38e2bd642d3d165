package archive_test

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"

	"timeball/internal/archive"
	"timeball/internal/chronometer"
)

// parcel is an archive taken apart, to be put together wrongly.
type parcel struct {
	names  []string
	texts  map[string][]byte
	sealed bool // timeball.json is kept as it is
	format string
	counts map[string]int
	name   func(string) string // renames in the zip file alone
	method uint16
	flags  uint16
}

func open(t testing.TB, b []byte) *parcel {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		t.Fatal(err)
	}
	p := &parcel{texts: map[string][]byte{}, format: archive.Format, counts: map[string]int{"version": archive.Version}, method: zip.Deflate}
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		if p.texts[f.Name], err = io.ReadAll(r); err != nil {
			t.Fatal(err)
		}
		p.names = append(p.names, f.Name)
	}
	return p
}

// add puts a member in, or replaces it.
func (p *parcel) add(name, text string) {
	if !slices.Contains(p.names, name) {
		p.names = append(p.names, name)
	}
	p.texts[name] = []byte(text)
}

func (p *parcel) remove(name string) {
	p.names = slices.DeleteFunc(p.names, func(s string) bool { return s == name })
}

// seal writes timeball.json anew, right for the members, as somebody who
// knows the format could.
func (p *parcel) seal(t testing.TB) {
	t.Helper()
	type member struct {
		Name   string `json:"name"`
		Size   int    `json:"size"`
		SHA256 string `json:"sha256"`
	}
	m := map[string]any{"format": p.format, "entries": bytes.Count(p.texts["entries.jsonl"], []byte("\n")), "attachments": 0, "comparisons": 0}
	members := []member{}
	names := slices.Sorted(slices.Values(p.names))
	attachments, comparisons := 0, 0
	for _, name := range names {
		if name == "timeball.json" {
			continue
		}
		if strings.HasPrefix(name, "attachments/") {
			attachments++
		}
		if strings.HasPrefix(name, "comparisons/") {
			comparisons++
		}
		hash := sha256.Sum256(p.texts[name])
		members = append(members, member{name, len(p.texts[name]), hex.EncodeToString(hash[:])})
	}
	m["attachments"], m["comparisons"], m["members"] = attachments, comparisons, members
	for k, v := range p.counts {
		m[k] = v
	}
	text, err := json.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	p.add("timeball.json", string(text))
}

// bytes zips the members.
func (p *parcel) bytes(t testing.TB) []byte {
	t.Helper()
	if !p.sealed {
		p.seal(t)
	}
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	for _, name := range p.names {
		as := name
		if p.name != nil {
			as = p.name(name)
		}
		w, err := z.CreateHeader(&zip.FileHeader{Name: as, Method: p.method, Flags: p.flags})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(p.texts[name]); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func swap(p *parcel, name, old, with string) {
	p.add(name, strings.Replace(string(p.texts[name]), old, with, 1))
}

// TestReadRefuses tampers with an archive in one place at a time.
func TestReadRefuses(t *testing.T) {
	entries, attachments := workshop()
	whole := write(t, entries, attachments)
	picture := "attachments/" + attachments[0].SHA256
	for _, c := range []struct {
		name   string
		tamper func(p *parcel)
		says   string
	}{
		{"another format", func(p *parcel) { p.format = "album" }, `timeball.json: the format is "album" and not "timeball workshop archive"; give a file that timeball has exported`},
		{"a newer version", func(p *parcel) { p.counts["version"] = 2 }, `timeball.json: the archive is of a newer version (2; this program reads up to 1); use a newer timeball`},
		{"version 0", func(p *parcel) { p.counts["version"] = 0 }, `timeball.json: there is no version 0; take another copy of the archive`},
		{"no JSON", func(p *parcel) { p.sealed = true; p.add("timeball.json", "hello") }, `timeball.json: it is no JSON object (`},
		{"an unknown field", func(p *parcel) { p.counts["jobs"] = 3 }, `timeball.json: json: unknown field "jobs"`},
		{"two objects", func(p *parcel) { p.sealed = true; p.add("timeball.json", string(p.texts["timeball.json"])+"{}") }, `timeball.json: it is no JSON object (`},
		{"a changed letter", func(p *parcel) { p.sealed = true; swap(p, "entries.jsonl", "Corvane", "Corvine") }, `entries.jsonl: its bytes are not those that were written (another SHA-256 than in timeball.json); take another copy of the archive`},
		{"a changed picture", func(p *parcel) { p.sealed = true; p.add(picture, "a pictvre") }, picture + `: its bytes are not those that were written`},
		{"a longer picture", func(p *parcel) { p.sealed = true; p.add(picture, "a picture!") }, picture + `: it has 10 bytes, and timeball.json says 9; take another copy of the archive`},
		{"another picture of that name", func(p *parcel) { p.add(picture, "a pictvre") }, picture + `: its SHA-256 is `},
		{"no entries", func(p *parcel) { p.remove("entries.jsonl") }, `entries.jsonl is missing, so this is no workshop archive or it is not whole; take another copy of the archive`},
		{"no manifest", func(p *parcel) { p.sealed = true; p.remove("timeball.json") }, `timeball.json is missing`},
		{"no README", func(p *parcel) { p.remove("README.txt") }, `README.txt is missing`},
		{"a picture missing", func(p *parcel) { p.sealed = true; p.remove(picture) }, `timeball.json: it names "` + picture + `", which is not in the archive; take another copy of the archive`},
		{"a picture missing, sealed", func(p *parcel) { p.remove(picture) }, `the file ` + picture + ` is missing; take another copy of the archive`},
		{"a picture not described", func(p *parcel) { p.add("attachments.jsonl", "") }, `timeball.json: it counts 3 attachments and 2 comparison files, and there are 3 (0 described) and 2; take another copy of the archive`},
		{"a comparison file added", func(p *parcel) { p.sealed = true; p.add("comparisons/418.csv", "utc,dial\n") }, `comparisons/418.csv: timeball.json does not name it, so it was added later; take another copy of the archive`},
		{"a surplus file", func(p *parcel) { p.add("virus.exe", "") }, `"virus.exe" does not belong in an archive; take another copy of the archive`},
		{"out of the folder", func(p *parcel) { p.add("comparisons/../../x.csv", "") }, `"comparisons/../../x.csv" does not belong in an archive`},
		{"from the root", func(p *parcel) { p.add("/etc/passwd", "") }, `"/etc/passwd" does not belong in an archive`},
		{"another system's path", func(p *parcel) { p.add(`comparisons\x.csv`, "") }, `"comparisons\\x.csv" does not belong in an archive`},
		{"a drive", func(p *parcel) { p.add("C:x.csv", "") }, `"C:x.csv" does not belong in an archive`},
		{"a hidden file", func(p *parcel) { p.add("comparisons/.x.csv", "") }, `"comparisons/.x.csv" does not belong in an archive`},
		{"names that fold together", func(p *parcel) { p.add("comparisons/417--a.csv", "utc,dial\n") }, `comparisons/417--a.csv: it stands twice in the zip file; take another copy of the archive`},
		{"a name twice", func(p *parcel) {
			p.name = func(s string) string { return strings.Replace(s, "README.txt", "entries.jsonl", 1) }
		}, `entries.jsonl: it stands twice in the zip file`},
		{"encrypted", func(p *parcel) { p.flags = 1 }, `README.txt: it is encrypted; take the password off the archive first`},
		{"an entry twice", func(p *parcel) {
			first, _, _ := strings.Cut(string(p.texts["entries.jsonl"]), "\n")
			p.add("entries.jsonl", first+"\n"+string(p.texts["entries.jsonl"]))
		}, `entries.jsonl, line 2: the ID ` + string(id(1)) + ` stands twice; each entry has one of its own; take another copy of the archive`},
		{"entries out of order", func(p *parcel) {
			first, rest, _ := strings.Cut(string(p.texts["entries.jsonl"]), "\n")
			p.add("entries.jsonl", rest+first+"\n")
		}, `entries.jsonl, line 9: entry ` + string(id(1)) + ` comes after ` + string(id(9))},
		{"an unknown kind", func(p *parcel) { swap(p, "entries.jsonl", `"wound"`, `"polished"`) }, `entries.jsonl, line 7: entry ` + string(id(7)) + `: not a logbook entry: kind "polished" is unknown; this program may be older than the file; take another copy of the archive`},
		{"hands back", func(p *parcel) {
			swap(p, "entries.jsonl", `"wound","fact":{"half_turns":7.5}`, `"hands moved","fact":{"by_s":-60}`)
		}, `entries.jsonl, line 7: entry ` + string(id(7)) + `: not a logbook entry: hands moved: by_s -60 is not forward`},
		{"a line cut off", func(p *parcel) { p.add("entries.jsonl", strings.TrimSuffix(string(p.texts["entries.jsonl"]), "}\n")) }, `entries.jsonl, line 9: the line is cut off; take another copy of the archive`},
		{"an empty line", func(p *parcel) { swap(p, "entries.jsonl", "\n", "\n\n") }, `entries.jsonl, line 2: the line is empty; take another copy of the archive`},
		{"a long line", func(p *parcel) { p.add("entries.jsonl", strings.Repeat(" ", 1<<20+1)) }, `entries.jsonl, line 1: the line is longer than 1048576 bytes; take another copy of the archive`},
		{"too many entries counted", func(p *parcel) { p.counts["entries"] = 10 }, `entries.jsonl: it has 9 entries, and timeball.json counts 10; take another copy of the archive`},
		{"an attachment twice", func(p *parcel) {
			first, _, _ := strings.Cut(string(p.texts["attachments.jsonl"]), "\n")
			p.add("attachments.jsonl", first+"\n"+string(p.texts["attachments.jsonl"]))
		}, `attachments.jsonl, line 2: attachment `},
		{"an attachment's size", func(p *parcel) { swap(p, "attachments.jsonl", `"size":9`, `"size":8`) }, `the size is 8, and the file has 9 bytes; take another copy of the archive`},
		{"an attachment's hash", func(p *parcel) {
			p.add("attachments.jsonl", `{"sha256":"../../x","size":9}`+"\n")
		}, `attachments.jsonl, line 1: sha256 "../../x" is not 64 hexadecimal digits in small letters; take another copy of the archive`},
		{"an attachment's field", func(p *parcel) { p.add("attachments.jsonl", `{"path":"x"}`+"\n") }, `attachments.jsonl, line 1: json: unknown field "path"`},
		{"a member that unpacks without end", func(p *parcel) { p.add("README.txt", strings.Repeat("0", 1<<20+1)) }, `README.txt: it would unpack to 1048577 bytes, and at most 1048576 are allowed; take another copy of the archive`},
		{"a member of noughts", func(p *parcel) { p.add("entries.jsonl", strings.Repeat("0", 17<<20)) }, `entries.jsonl: it would unpack to more than 200 times its size; take another copy of the archive`},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := open(t, whole)
			c.tamper(p)
			b := p.bytes(t)
			a, err := archive.Read(bytes.NewReader(b), int64(len(b)))
			var e *archive.Error
			if !errors.As(err, &e) || a != nil {
				t.Fatalf("%v is no *archive.Error, or %v came with it", err, a)
			}
			if !strings.Contains(err.Error(), c.says) {
				t.Errorf("says  %s\nwants %s", err, c.says)
			}
		})
	}
	t.Run("untouched", func(t *testing.T) {
		read(t, open(t, whole).bytes(t))
	})
	t.Run("with folders, as other programs zip", func(t *testing.T) {
		p := open(t, whole)
		b := p.bytes(t)
		var out bytes.Buffer
		z := zip.NewWriter(&out)
		if _, err := z.Create("attachments/"); err != nil {
			t.Fatal(err)
		}
		from, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range from.File {
			if err := z.Copy(f); err != nil {
				t.Fatal(err)
			}
		}
		if err := z.Close(); err != nil {
			t.Fatal(err)
		}
		read(t, out.Bytes())
	})
}

// TestReadRefusesLies builds zip files whose directory does not tell the truth
// about the members.
func TestReadRefusesLies(t *testing.T) {
	entries, attachments := workshop()
	whole := open(t, write(t, entries, attachments))
	whole.seal(t)
	raw := func(change func(f *zip.FileHeader, packed []byte) []byte) []byte {
		var out bytes.Buffer
		z := zip.NewWriter(&out)
		for _, name := range whole.names {
			var packed bytes.Buffer
			w, err := flate.NewWriter(&packed, flate.BestCompression)
			if err != nil {
				t.Fatal(err)
			}
			if _, err := w.Write(whole.texts[name]); err != nil {
				t.Fatal(err)
			}
			if err := w.Close(); err != nil {
				t.Fatal(err)
			}
			h := &zip.FileHeader{Name: name, Method: zip.Deflate, UncompressedSize64: uint64(len(whole.texts[name]))}
			body := packed.Bytes()
			if name == "entries.jsonl" {
				body = change(h, body)
			}
			h.CompressedSize64 = max(h.CompressedSize64, uint64(len(body)))
			m, err := z.CreateRaw(h)
			if err != nil {
				t.Fatal(err)
			}
			if _, err := m.Write(body); err != nil {
				t.Fatal(err)
			}
		}
		if err := z.Close(); err != nil {
			t.Fatal(err)
		}
		return out.Bytes()
	}
	for _, c := range []struct {
		name   string
		change func(f *zip.FileHeader, packed []byte) []byte
		says   string
	}{
		{"more bytes than the file has", func(f *zip.FileHeader, p []byte) []byte { f.CompressedSize64 = 1 << 40; return p }, "claim more bytes"},
		{"unpacks to more than declared", func(f *zip.FileHeader, p []byte) []byte { f.UncompressedSize64 -= 7; return p }, "bytes, and timeball.json says"},
		{"a bomb declared small", func(f *zip.FileHeader, p []byte) []byte {
			var bomb bytes.Buffer
			w, _ := flate.NewWriter(&bomb, flate.BestCompression)
			_, _ = w.Write(make([]byte, 64<<20))
			_ = w.Close()
			return bomb.Bytes()
		}, "take another copy"},
		{"no deflated bytes", func(f *zip.FileHeader, p []byte) []byte { return []byte("not deflated") }, "take another copy"},
		{"an unknown method", func(f *zip.FileHeader, p []byte) []byte { f.Method = 14; return p }, "it is packed by method 14"},
		{"a huge size", func(f *zip.FileHeader, p []byte) []byte { f.UncompressedSize64 = 1 << 62; return p }, "at most"},
	} {
		b := raw(c.change)
		a, err := archive.Read(bytes.NewReader(b), int64(len(b)))
		var e *archive.Error
		if !errors.As(err, &e) || a != nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want %q", c.name, err, c.says)
		}
	}
	b := raw(func(f *zip.FileHeader, p []byte) []byte { return p })
	read(t, b)
}

// TestReadRefusesEveryFlippedByte flips one bit at each place of an archive:
// it must be refused or give the same entries and attachments, never others.
func TestReadRefusesEveryFlippedByte(t *testing.T) {
	entries, attachments := workshop()
	whole := write(t, entries, attachments)
	again := func(b []byte) []byte {
		a, err := archive.Read(bytes.NewReader(b), int64(len(b)))
		if err != nil {
			return nil
		}
		var got []chronometer.Entry
		for e, err := range a.Entries() {
			if err != nil {
				return nil
			}
			got = append(got, e)
		}
		return write(t, got, a.Attachments())
	}
	same := 0
	for i := range whole {
		b := bytes.Clone(whole)
		b[i] ^= 1 << (i % 8)
		if got := again(b); got != nil {
			same++
			if !bytes.Equal(got, whole) {
				t.Fatalf("byte %d flipped: another archive was read", i)
			}
		}
	}
	// Bytes that carry nothing, such as the times of members, may differ.
	if same > len(whole)/4 {
		t.Errorf("%d of %d flipped bytes went unseen", same, len(whole))
	}
	for n := 0; n < len(whole); n += 13 {
		if _, err := archive.Read(bytes.NewReader(whole[:n]), int64(n)); err == nil {
			t.Errorf("cut off after %d bytes", n)
		}
	}
}

func FuzzRead(f *testing.F) {
	entries, attachments := workshop()
	f.Add(write(f, entries, attachments))
	f.Add(write(f, nil, nil))
	p := open(f, write(f, entries[:3], nil))
	p.method = zip.Store
	f.Add(p.bytes(f))
	f.Add([]byte("PK\x05\x06" + strings.Repeat("\x00", 18)))
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, b []byte) { rewrite(t, b) })
}

// rewrite reads b and, if it is an archive, writes it again and expects to
// read the same.
func rewrite(t *testing.T, b []byte) {
	a, err := archive.Read(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		if _, ok := err.(*archive.Error); !ok || a != nil {
			t.Fatalf("%T %v with %v", err, err, a)
		}
		return
	}
	_, got := read(t, b)
	one := write(t, got, a.Attachments())
	b2, again := read(t, one)
	if !bytes.Equal(one, write(t, again, b2.Attachments())) {
		t.Fatal("written again it differs")
	}
}

// FuzzEntries puts any text in the place of entries.jsonl, with the hash and
// the count that fit it.
func FuzzEntries(f *testing.F) {
	entries, attachments := workshop()
	whole := open(f, write(f, entries, attachments))
	text := string(whole.texts["entries.jsonl"])
	f.Add(text)
	for line := range strings.Lines(text) {
		f.Add(line)
	}
	f.Add("\n")
	f.Add(strings.Replace(text, "7.5", "1e999", 1))
	f.Fuzz(func(t *testing.T, text string) {
		p := *whole
		p.texts = map[string][]byte{}
		for name, text := range whole.texts {
			p.texts[name] = text
		}
		p.method = zip.Store
		p.add("entries.jsonl", text)
		rewrite(t, p.bytes(t))
	})
}
