package file

import (
	"encoding/binary"
	"strings"
)

// maxCommentBytes bounds the comment header kept; pictures inside it make it
// large and are of no use here.
const maxCommentBytes = 1 << 20

// parseComments reads a Vorbis comment header, as FLAC uses it too (Vorbis I
// section 5): vendor, count, then NAME=value with lengths in front. Names
// come back in capitals; the first of a name wins. What does not fit ends it.
func parseComments(b []byte) map[string]string {
	tags := map[string]string{}
	next := func() (string, bool) {
		if len(b) < 4 {
			return "", false
		}
		n := int64(binary.LittleEndian.Uint32(b))
		if b = b[4:]; n > int64(len(b)) {
			return "", false
		}
		s := string(b[:n])
		b = b[n:]
		return s, true
	}
	if _, ok := next(); !ok || len(b) < 4 { // vendor
		return tags
	}
	count := binary.LittleEndian.Uint32(b)
	b = b[4:]
	for range count {
		s, ok := next()
		if !ok {
			break
		}
		name, value, ok := strings.Cut(s, "=")
		if !ok || len(value) > 4096 {
			continue
		}
		if name = strings.ToUpper(name); tags[name] == "" {
			tags[name] = strings.ToValidUTF8(value, "\uFFFD")
		}
	}
	return tags
}
