package testdata

import _ "embed"

// SignalFiles are 83 signal definition files that are hard to read: a zip with their licence inside.
//
// Source: the tests of the open library cantools (commit c1dcd39, MIT licence), as they are there.
//
//go:embed signal_files.zip
var SignalFiles []byte

// SignalValues are 1,152 data fields of random bytes with the values that cantools decodes from them by the files of
// [SignalFiles], one JSON object a line: file, identifier, 29 bits or not, CAN FD or not, length, data, and the values
// by name as numbers. Compressed with gzip.
//
//go:embed signal_values.jsonl.gz
var SignalValues []byte
