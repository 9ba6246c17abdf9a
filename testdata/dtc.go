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

// DTCTraits are codes that an open list calls low, high, stuck on and so on; the file names it.
//
//go:embed dtc_traits.tsv
var DTCTraits string

// DTCSample are codes with words that their meaning must have, checked by hand against public service information; the
// last column names the source.
//
//go:embed dtc_sample.tsv
var DTCSample string
