package explain

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"sync"

	"readback/assets"
	"readback/diag/link"
)

// Canonical is the text that two people compare: identifier in 3 or 8 upper-case hex digits, #, data in upper-case
// hex, padding included ("7E5#0414FFFFFF555555").
func Canonical(id link.ID, data []byte) string { return fmt.Sprintf("%s#%X", id, data) }

var wordList = sync.OnceValue(assets.Words)

// Words are the read-back words of a frame: the first 33 bits of the SHA-256 of its canonical text, as three numbers
// of 11 bits, most significant first, looked up in the published list of 2048 words ([assets.Words]).
func Words(id link.ID, data []byte) [3]string {
	sum := sha256.Sum256([]byte(Canonical(id, data)))
	bits := binary.BigEndian.Uint64(sum[:8]) >> 31 // the first 33 of 64
	list := wordList()
	return [3]string{list[bits>>22], list[bits>>11&0x7FF], list[bits&0x7FF]}
}
