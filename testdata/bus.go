package testdata

import _ "embed"

// BusFrameBits holds the bit lengths of 3,009 classical CAN frames of both identifier widths and all data lengths:
// tab-separated, two lines of head, then identifier (hex), 1 for 29 bits, data length, data (hex, - for none), bits
// without stuffing, exact bits, most bits that a frame of this length can have. All counts hold the three bits of
// intermission.
//
// Source: canframelen.c of can-utils (commit 95aae6b) and an independent serialiser of ISO 11898-1 frames, which
// agree on all of them. Compressed with gzip.
//
//go:embed bus_frame_bits.tsv.gz
var BusFrameBits []byte
