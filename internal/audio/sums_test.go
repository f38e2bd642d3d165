package audio

import "testing"

// TestSums holds the sums against their published check values for "123456789":
// CRC-8/SMBUS 0xF4 and CRC-16/UMTS 0xFEE8 (G. Cook, Catalogue of parametrised
// CRC algorithms).
func TestSums(t *testing.T) {
	text := []byte("123456789")
	if got := sum8(text); got != 0xf4 {
		t.Errorf("8 bits: %#x", got)
	}
	if got := sum16(text); got != 0xfee8 {
		t.Errorf("16 bits: %#x", got)
	}
}
