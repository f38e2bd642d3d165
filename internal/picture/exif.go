package picture

import (
	"bytes"
	"encoding/binary"
)

// The tags that are read (CIPA DC-008-2023 / JEITA CP-3451F, 4.6).
const (
	tagOrientation = 0x0112
	tagGPS         = 0x8825
)

// told is what the metadata of a picture say.
type told struct {
	orientation int // 1 to 8; 0 if nothing says
	place       bool
}

// add takes up what further metadata say; the first orientation holds.
func (t *told) add(more told) {
	if t.orientation == 0 {
		t.orientation = more.orientation
	}
	t.place = t.place || more.place
}

// stored returns in which orientation the picture was stored; upright if
// nothing says.
func (t told) stored() int { return max(1, t.orientation) }

// exif returns what the TIFF structure inside EXIF says. What cannot be read
// says nothing, but a place that cannot be read is a place.
func exif(tiff []byte) told {
	var order binary.ByteOrder
	switch {
	case bytes.HasPrefix(tiff, []byte("II*\x00")):
		order = binary.LittleEndian
	case bytes.HasPrefix(tiff, []byte("MM\x00*")):
		order = binary.BigEndian
	default:
		return told{}
	}
	var t told
	if len(tiff) < 8 {
		return t
	}
	whole := eachEntry(tiff, order, order.Uint32(tiff[4:]), func(tag, kind uint16, count uint32, value []byte) {
		const short = 3
		switch {
		case tag == tagOrientation && kind == short && count == 1:
			if o := int(order.Uint16(value)); 1 <= o && o <= 8 && t.orientation == 0 {
				t.orientation = o
			}
		case tag == tagGPS:
			whole := eachEntry(tiff, order, order.Uint32(value), func(tag, _ uint16, _ uint32, _ []byte) {
				t.place = t.place || tag != 0 // tag 0 is the version, which an empty record has too
			})
			t.place = t.place || !whole
		}
	})
	// The rest of a directory that was cut off may have told a place.
	t.place = t.place || !whole
	return t
}

// eachEntry calls f for every entry of the directory at an offset, and reports
// whether the directory was there and whole.
func eachEntry(tiff []byte, order binary.ByteOrder, at uint32, f func(tag, kind uint16, count uint32, value []byte)) bool {
	const size = 12
	if int64(at)+2 > int64(len(tiff)) {
		return false
	}
	entries := tiff[at+2:]
	for n := order.Uint16(tiff[at:]); n > 0; n-- {
		if len(entries) < size {
			return false
		}
		f(order.Uint16(entries), order.Uint16(entries[2:]), order.Uint32(entries[4:]), entries[8:size])
		entries = entries[size:]
	}
	return true
}

// placeWords are the properties of XMP that tell a place (Adobe, XMP
// Specification Part 2; IPTC Photo Metadata Standard).
var placeWords = [][]byte{
	[]byte("GPSLatitude"), []byte("GPSLongitude"), []byte("GPSDest"), []byte("GPSAreaInformation"),
	[]byte("LocationShown"), []byte("LocationCreated"), []byte("Iptc4xmpCore:Location"),
	[]byte("photoshop:City"), []byte("photoshop:State"), []byte("photoshop:Country"),
}

// xmp returns what a packet of XMP says. Its orientation is not heeded, as
// browsers do not heed it either.
func xmp(packet []byte) told {
	for _, word := range placeWords {
		if bytes.Contains(packet, word) {
			return told{place: true}
		}
	}
	return told{}
}

// iptc returns what image resource blocks say, of which 0x0404 holds IPTC-IIM
// (Adobe, Photoshop File Formats): the datasets 90 (city), 92 (place in the
// city), 95 (province), 100 and 101 (country) of record 2 tell a place
// (IPTC-NAA IIM 4.2, chapter 6).
func iptc(blocks []byte) told {
	_, iim, _ := bytes.Cut(blocks, []byte("8BIM\x04\x04"))
	if len(iim) < 1 {
		return told{}
	}
	// A name of an even number of bytes with that of its length, then the size.
	iim = iim[min(len(iim), (int(iim[0])+2)/2*2+4):]
	for len(iim) >= 5 && iim[0] == 0x1c {
		if iim[1] == 2 && bytes.IndexByte([]byte{90, 92, 95, 100, 101}, iim[2]) >= 0 {
			return told{place: true}
		}
		iim = iim[min(len(iim), 5+int(binary.BigEndian.Uint16(iim[3:]))):]
	}
	return told{}
}
