package testdata

import _ "embed"

// ISOTPDigests holds, for 4,108 message lengths and four layouts each, the digest of all frames of ISO 15765-2
// segmentation: tab-separated, a row a length. The payload of length n has byte i = (7*i+n) mod 256; a digest is the
// first 32 hex digits of SHA-256 over length byte and data of every frame in order. Layouts: normal and extended
// addressing (address F1), unpadded and padded with CC.
//
// Source: computed by scapy 2.5.0 and by an independent segmenter, which agree on all of them; the ISO-TP socket of
// a Linux 6.1 kernel agrees on 311 lengths. Compressed with gzip.
//
//go:embed isotp_digests.tsv.gz
var ISOTPDigests []byte

// ISOTPFrames holds the frames themselves for 22 lengths and the same four layouts, one JSON object a line. Source
// as for [ISOTPDigests]. Compressed with gzip.
//
//go:embed isotp_vectors_full.jsonl.gz
var ISOTPFrames []byte
