package testdata

import _ "embed"

// UDSExamples are 175 payloads with their decoded trees, one JSON object a line: the test payloads of the open library
// py-uds (mdabrowski1990/uds, commit ed5bfccea250, MIT licence), decoded by it. Compressed with gzip.
//
//go:embed uds_examples.jsonl.gz
var UDSExamples []byte

// UDSWorked are requests and answers of both diagnostic standards with what they mean; each names its source.
//
//go:embed uds_worked.json
var UDSWorked []byte

// UDSNRC are the negative response codes in three independent name tables; the file names them.
//
//go:embed uds_nrc.tsv
var UDSNRC string
