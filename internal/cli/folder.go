package cli

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"timeball/internal/archive"
	"timeball/internal/reference"
	"timeball/internal/store"
	"timeball/internal/workshop"
)

// folderFlag adds --folder; without it the folder is that of the environment
// variable TIMEBALL_FOLDER, or timeball in the user's data folder.
func (c console) folderFlag(cmd *cobra.Command, folder *string) {
	cmd.Flags().StringVar(folder, "folder", "", "the data folder (TIMEBALL_FOLDER, or "+folderName+" in your data folder)")
}

func (c console) folder(flag string) (string, error) {
	if flag != "" {
		return flag, nil
	}
	if dir := c.getenv("TIMEBALL_FOLDER"); dir != "" {
		return dir, nil
	}
	if dir := c.getenv("XDG_DATA_HOME"); dir != "" {
		return filepath.Join(dir, folderName), nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", fmt.Errorf("your home folder is not known; name the data folder with --folder")
	}
	return filepath.Join(home, ".local", "share", folderName), nil
}

// inKept is inFolder for a folder that must be there already.
func (c console) inKept(ctx context.Context, flag string, work func(context.Context, *workshop.Workshop, string) error) error {
	dir, err := c.folder(flag)
	if err != nil {
		return err
	}
	if !store.Kept(dir) {
		return fmt.Errorf("%s holds no workshop; name the data folder with --folder, or begin one with timeball serve", dir)
	}
	return c.inFolder(ctx, flag, work)
}

// inFolder opens the data folder by the clock of this computer, does the work
// and closes it again.
func (c console) inFolder(ctx context.Context, flag string, work func(context.Context, *workshop.Workshop, string) error) error {
	return c.inFolderBy(ctx, flag, reference.Plain(c.now), work)
}

// inFolderBy is inFolder by a standard.
func (c console) inFolderBy(ctx context.Context, flag string, standard *reference.Standard, work func(context.Context, *workshop.Workshop, string) error) error {
	dir, err := c.folder(flag)
	if err != nil {
		return err
	}
	db, err := store.Open(ctx, dir, standard.Now)
	if err != nil {
		return err
	}
	w := workshop.New(db, standard)
	err = work(ctx, w, dir)
	w.Close()
	return errors.Join(err, db.Close())
}

func (c console) importing() *cobra.Command {
	var folder, number, by string
	cmd := &cobra.Command{
		Use:   "import FILE",
		Short: "an export, or one instrument's comparisons, into the data folder",
		Long: `Brings an export (a zip file) into the data folder, where entries held already
stay as they are; or, with --number, the comparisons of a comparison file into
the logbook of that instrument. A file is brought in whole or not at all.`,
		Example: "  timeball import lantern-quay.zip\n  timeball import no-417.csv --number 417 --by \"R. Halvane\"",
		Args:    oneFile,
		RunE: does(func(cmd *cobra.Command, args []string) error {
			in, err := c.open(args[0])
			if err != nil {
				return err
			}
			defer in.Close()
			within := c.inFolder
			if number != "" { // there must be an instrument already
				within = c.inKept
			}
			return within(cmd.Context(), folder, func(ctx context.Context, w *workshop.Workshop, dir string) error {
				r := bufio.NewReader(in)
				if start, _ := r.Peek(4); bytes.HasPrefix(start, []byte("PK\x03\x04")) {
					return c.importArchive(ctx, w, args[0], r)
				}
				if number == "" {
					return usage("%s is no export; to bring in comparisons say for which instrument with --number", args[0])
				}
				seen, err := w.See(ctx, number)
				if err != nil {
					return err
				}
				done := c.progress("bringing in %s", args[0])
				n, err := w.Import(ctx, seen.ID, by, r)
				done()
				if err != nil {
					return fmt.Errorf("%s: %w", args[0], err)
				}
				fmt.Fprintf(c.out, "%d new entries for No. %s.\n", n, number)
				return nil
			})
		}),
	}
	c.folderFlag(cmd, &folder)
	cmd.Flags().StringVar(&number, "number", "", "the instrument whose comparisons they are")
	cmd.Flags().StringVar(&by, "by", "import", "who writes the entries, where the file names no observer")
	return cmd
}

// importArchive brings in an export; it is read from a file, or kept in a
// temporary one while it comes through a pipe, since a zip ends with its table.
func (c console) importArchive(ctx context.Context, w *workshop.Workshop, name string, r io.Reader) error {
	kept, err := os.CreateTemp("", "timeball-import-*")
	if err != nil {
		return err
	}
	defer os.Remove(kept.Name())
	defer kept.Close()
	size, err := io.Copy(kept, r)
	if err != nil {
		return err
	}
	done := c.progress("bringing in %s", name)
	defer done()
	a, err := archive.Read(kept, size)
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	n, err := w.BringIn(ctx, a)
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	fmt.Fprintf(c.out, "%d entries and %d attachments are in the folder.\n", n, len(a.Attachments()))
	return nil
}

func (c console) export() *cobra.Command {
	var folder string
	cmd := &cobra.Command{
		Use:   "export FILE",
		Short: "everything in the data folder, as one file",
		Long: `Writes every entry (JSON Lines), every attachment and, for people, the
comparisons of each instrument (CSV) into one zip file. The same workshop gives
the same bytes. A dash writes to standard output.`,
		Example: "  timeball export lantern-quay.zip",
		Args:    oneFile,
		RunE: does(func(cmd *cobra.Command, args []string) error {
			return c.inKept(cmd.Context(), folder, func(ctx context.Context, w *workshop.Workshop, dir string) error {
				done := c.progress("writing %s", args[0])
				defer done()
				if args[0] == "-" {
					return w.Export(ctx, c.out)
				}
				if err := writeWhole(args[0], func(out io.Writer) error { return w.Export(ctx, out) }); err != nil {
					return err
				}
				fmt.Fprintf(c.out, "%s holds everything in %s.\n", args[0], dir)
				return nil
			})
		}),
	}
	c.folderFlag(cmd, &folder)
	return cmd
}

// writeWhole writes a file beside its name and moves it there once it is whole.
func writeWhole(name string, write func(io.Writer) error) error {
	if _, err := os.Lstat(name); err == nil {
		return fmt.Errorf("%s exists already and is left as it is; choose another name", name)
	}
	f, err := os.CreateTemp(filepath.Dir(name), ".timeball-*")
	if err != nil {
		return fmt.Errorf("%s cannot be written (%w); choose a folder that exists", name, errors.Unwrap(err))
	}
	defer os.Remove(f.Name()) // once renamed there is nothing to remove
	if err := errors.Join(write(f), f.Chmod(0o600), f.Sync(), f.Close()); err != nil {
		return err
	}
	return os.Rename(f.Name(), name)
}

func (c console) verify() *cobra.Command {
	var folder string
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "verify [CERTIFICATE.pdf | DIGEST]",
		Short: "whether the data folder is whole, or a certificate still holds",
		Long: `Reads every entry and every attachment of the data folder and says what is
damaged or missing. It changes nothing.

With the file of a certificate, or the digest printed on it (12 digits are
enough), it says whether the logbook still gives the figures that the certificate
states, and if not what was struck out or added since.`,
		Example: "  timeball verify\n  timeball verify certificate-417-2027-03-05.pdf\n  timeball verify 3f9a0c51b2de",
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) > 1 {
				return usage("verify takes one certificate or digest, or nothing for the folder")
			}
			return nil
		},
		RunE: does(func(cmd *cobra.Command, args []string) error {
			return c.inKept(cmd.Context(), folder, func(ctx context.Context, w *workshop.Workshop, dir string) error {
				if len(args) == 1 {
					return c.verifyCertificate(ctx, w, args[0], asJSON)
				}
				done := c.progress("verifying %s", dir)
				r, err := w.Verify(ctx)
				done()
				if err != nil {
					return err
				}
				if asJSON {
					err = writeJSON(c.out, newVerified(dir, r))
				} else {
					err = reportVerify(c.out, dir, r)
				}
				if err == nil && !r.Whole() {
					err = fmt.Errorf("%s is damaged: %d faults; keep it as it is and restore a copy", dir, len(r.Faults)+r.More)
				}
				return err
			})
		}),
	}
	c.folderFlag(cmd, &folder)
	cmd.Flags().BoolVar(&asJSON, "json", false, "print one JSON object")
	return cmd
}

func noArgs(cmd *cobra.Command, args []string) error {
	if len(args) > 0 {
		return usage("%s takes no %q", cmd.Name(), args[0])
	}
	return nil
}

// verified is what verify prints with --json.
type verified struct {
	Folder      string   `json:"folder"`
	Whole       bool     `json:"whole"`
	Logbooks    int      `json:"logbooks"`
	Entries     int      `json:"entries"`
	Attachments int      `json:"attachments"`
	Faults      []string `json:"faults"`
	Notes       []string `json:"notes"`
}

func newVerified(dir string, r store.Report) verified {
	return verified{
		Folder: dir, Whole: r.Whole(), Logbooks: r.Subjects, Entries: r.Entries, Attachments: r.Attachments,
		Faults: append([]string{}, r.Faults...), Notes: append([]string{}, r.Notes...),
	}
}

func reportVerify(w io.Writer, dir string, r store.Report) error {
	var b bytes.Buffer
	fmt.Fprintf(&b, "%s: %d logbooks, %d entries, %d attachments.\n", dir, r.Subjects, r.Entries, r.Attachments)
	for _, s := range append(append([]string{}, r.Faults...), r.Notes...) {
		fmt.Fprintln(&b, s)
	}
	if r.More > 0 {
		fmt.Fprintf(&b, "and %d faults more\n", r.More)
	}
	if r.Whole() {
		fmt.Fprintln(&b, "It is whole.")
	}
	_, err := w.Write(b.Bytes())
	return err
}
