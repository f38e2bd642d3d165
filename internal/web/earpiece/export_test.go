package earpiece

// ParseChunk returns the chunk of a message.
var ParseChunk = parseChunk

// What bounds a message.
const (
	MostFrames  = mostFrames
	MostMessage = mostMessage
)
