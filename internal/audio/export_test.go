package audio

// Outgrows moves the size beyond which a recording becomes RF64, which is 4 GB.
func (w *WAVWriter) Outgrows(most uint64) { w.most = most }
