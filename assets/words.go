package assets

import (
	_ "embed"
	"strings"
)

// The word list is the English list of BIP-0039 (bip-0039/english.txt in the BIP repository, MIT licence), unchanged:
// 2048 words in alphabetical order that all differ within their first four letters. SHA-256 of the file:
// 2f5eed53a4727b4bf8880d8f3f199efc90e58503646d9ff8eff3a2ed3b24dbda.
//
//go:embed words.txt
var words string

// WordList is the text of the list, one word a line, as published.
func WordList() string { return words }

// Words are the 2048 words in the order of the list.
func Words() []string { return strings.Fields(words) }
