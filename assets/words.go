package assets

import (
	_ "embed"
	"strings"
)

// The word list is the English list of BIP-0039 (bip-0039/english.txt in the BIP repository, MIT licence)
// with one word replaced: word 954, which is also a maker's name, is "jade" here. 2048 words in alphabetical order that
// all differ within their first four letters.
//
//go:embed words.txt
var words string

// Words are the 2048 words in the order of the list.
func Words() []string { return strings.Fields(words) }
