package testdata

import _ "embed"

// ExplainCases are mistyped and oddly written requests with the findings and the class expected of them. Invented for
// this project; the kinds are listed in the file.
//
//go:embed explain_cases.tsv
var ExplainCases string

// ExplainNames are the names that ISO 14229-1:2020 gives to services, sub-functions, data identifiers and negative
// response codes, as the open library py-uds (mdabrowski1990/uds, commit ed5bfccea250, MIT licence) lists them.
//
//go:embed explain_names.json
var ExplainNames []byte

// ExplainServices are the names that the open library scapy gives to the services of three standards; the file says which
// version.
//
//go:embed explain_services.tsv
var ExplainServices string
