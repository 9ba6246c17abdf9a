package testdata

import _ "embed"

// DTCFailureTypes are the failure types of SAE J2012 / ISO 15031-6 as public listings give them; the file names them.
//
//go:embed dtc_failure_types.tsv
var DTCFailureTypes string

// DTCListed are the standard codes that four open lists (MIT licence) hold, with the number of lists: codes only, no
// wording. Compressed with gzip.
//
//go:embed dtc_listed.tsv.gz
var DTCListed []byte
