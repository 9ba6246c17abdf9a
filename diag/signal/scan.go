package signal

import (
	"bytes"
	"strings"
	"unicode/utf8"
)

// token is a word, a string in quotes or a single mark.
type token struct {
	kind  kind
	text  string
	line  int
	first bool // nothing stands before it in its line
}

type kind byte

const (
	end kind = iota
	word
	quoted
	mark // one of : ; , | @ ( ) [ ]
)

// scanner cuts a file into tokens. Lines that begin with // are passed over, as some programs write them.
type scanner struct {
	in   []byte
	at   int
	line int
	new  bool // at the beginning of a line
	torn int  // line of the first quotation mark without a partner, 0 when there is none
}

func newScanner(in []byte) *scanner {
	return &scanner{in: bytes.TrimPrefix(in, []byte("\xEF\xBB\xBF")), line: 1, new: true}
}

const marks = ":;,|@()[]"

func (s *scanner) next() token {
	for ; s.at < len(s.in); s.at++ {
		c := s.in[s.at]
		if c == '\n' {
			s.line++
			s.new = true
		} else if s.new && bytes.HasPrefix(s.in[s.at:], []byte("//")) {
			if n := bytes.IndexByte(s.in[s.at:], '\n'); n >= 0 {
				s.at += n - 1
			} else {
				s.at = len(s.in) - 1
			}
		} else if c > ' ' {
			break
		}
	}
	t := token{line: s.line, first: s.new}
	s.new = false
	if s.at == len(s.in) {
		return t
	}
	from := s.at
	switch c := s.in[s.at]; {
	case c == '"':
		t.kind, t.text = quoted, s.quoted()
		return t
	case strings.IndexByte(marks, c) >= 0:
		t.kind = mark
		s.at++
	default:
		t.kind = word
		for s.at < len(s.in) && s.in[s.at] > ' ' && s.in[s.at] != '"' && strings.IndexByte(marks, s.in[s.at]) < 0 {
			s.at++
		}
	}
	t.text = decoded(s.in[from:s.at])
	return t
}

// statements are beginnings of lines that no text contains: where one is found in a string, the string has no end, and
// only the line it begins in is taken for it.
var statements = []string{"BO_ ", " SG_ ", "CM_ ", "BA_ ", "BA_DEF_ ", "VAL_ ", "SIG_VALTYPE_ ", "SG_MUL_VAL_ "}

// quoted reads a string that may go over several lines; \" stands for a quotation mark.
func (s *scanner) quoted() string {
	begin, line := s.at+1, s.line
	firstEnd := len(s.in)
	for i := begin; i < len(s.in); i++ {
		switch s.in[i] {
		case '\\':
			if i+1 < len(s.in) && s.in[i+1] == '"' {
				i++
			}
		case '"':
			s.at = i + 1
			return unescape(s.in[begin:i])
		case '\n':
			firstEnd = min(firstEnd, i)
			if s.torn != 0 || s.statement(i+1) {
				return s.tear(begin, firstEnd, line)
			}
			s.line++
		}
	}
	return s.tear(begin, firstEnd, line)
}

// tear ends a string without an end where its line ends. All strings behind it end with their lines at the latest, so
// that no text is gone over again and again.
func (s *scanner) tear(begin, end, line int) string {
	if s.torn == 0 {
		s.torn = line
	}
	s.at, s.line = end, line
	return unescape(s.in[begin:end])
}

func (s *scanner) statement(at int) bool {
	for _, k := range statements {
		if bytes.HasPrefix(s.in[at:], []byte(k)) {
			return true
		}
	}
	return false
}

func unescape(b []byte) string { return strings.ReplaceAll(decoded(b), `\"`, `"`) }

// decoded makes text of bytes that are UTF-8 or Windows-1252, of which Latin-1 is a part. Files mix them.
func decoded(b []byte) string {
	if utf8.Valid(b) {
		return string(b)
	}
	out := make([]rune, len(b))
	for i, c := range b {
		out[i] = rune(c)
		if c >= 0x80 && c < 0xA0 {
			out[i] = windows1252[c-0x80]
		}
	}
	return string(out)
}

// windows1252 holds the letters of bytes 80-9F; the other bytes of Windows-1252 are those of Latin-1.
var windows1252 = [32]rune{
	'€', utf8.RuneError, '‚', 'ƒ', '„', '…', '†', '‡', 'ˆ', '‰', 'Š', '‹', 'Œ', utf8.RuneError, 'Ž', utf8.RuneError,
	utf8.RuneError, '‘', '’', '“', '”', '•', '–', '—', '˜', '™', 'š', '›', 'œ', utf8.RuneError, 'ž', 'Ÿ',
}
