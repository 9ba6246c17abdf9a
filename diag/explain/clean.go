package explain

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
)

// maxRunes bounds how much of a pasted text is read: a page of a forum is shorter.
const maxRunes = 20_000

// maxFindings bounds what is said about one text.
const maxFindings = 60

// token is a run of hex digits as typed, upper case, without the notation around it.
type token struct {
	text  string
	at    int  // runes of the input before its first digit
	line  int  // counts from 0
	hash  bool // a # stands right after it
	id    bool // a label before it says that it is an identifier
	named bool // a label stands before it
}

// cleaned is a text without spaces, punctuation and notation.
type cleaned struct {
	tokens   []token
	headers  []header // identifiers set by adapter commands
	findings []Finding
	guess    string // the text with look-alikes replaced, "" where there were none
	slips    int    // how many look-alikes
	prose    bool   // there were words around the request; they are left out
	holes    []hole // what stands in the place of bytes and can't be read
}

// hole is a part of the input that can't be read, runes from..to.
type hole struct{ from, to int }

// header is an identifier that an adapter command sets for the tokens after it.
type header struct {
	text   string
	at     int // of the command
	from   int // of the digits
	to     int
	before int // index of the first token it holds for
}

func (c *cleaned) found(code string, level Level, at int, text, fix string) {
	switch len(c.findings) {
	case maxFindings:
		code, level, text, fix = "more-findings", Wrong, "There are more places that can't be read.", "Paste the one line with the request only."
	case maxFindings + 1:
		return
	}
	c.findings = append(c.findings, Finding{Code: code, Level: level, At: at, Text: text, Fix: fix})
}

// lookAlike are characters that are easily typed or read for a hex digit.
var lookAlike = map[rune]rune{'O': '0', 'o': '0', 'Q': '0', 'l': '1', 'I': '1', 'i': '1', 'L': '1', 'S': '5', 's': '5',
	'Z': '2', 'z': '2', 'G': '6', 'g': '9', 'q': '9', 'T': '7',
	'А': 'A', 'а': 'A', 'В': 'B', 'в': 'B', 'С': 'C', 'с': 'C', 'Е': 'E', 'е': 'E', 'О': '0', 'о': '0', 'З': '3', 'б': '6',
	'Α': 'A', 'Β': 'B', 'Ε': 'E', 'Ο': '0', 'ο': '0', 'Ø': '0', 'ø': '0', 'І': '1', 'і': '1'}

// alike is the digit that a character is easily taken for: a look-alike letter, or a wide form of a digit.
func alike(r rune) (rune, bool) {
	if r >= '０' && r <= '９' || r >= 'Ａ' && r <= 'Ｆ' {
		return r - '０' + '0', true
	}
	if r >= 'ａ' && r <= 'ｆ' {
		return r - 'ａ' + 'A', true
	}
	d, ok := lookAlike[r]
	return d, ok
}

// digitNames are spoken beside a digit that was probably meant.
var digitNames = map[rune]string{'0': "zero", '1': "one", '2': "two", '5': "five", '6': "six", '7': "seven", '9': "nine", '3': "three"}

func isHex(r rune) bool {
	return r >= '0' && r <= '9' || r >= 'A' && r <= 'F' || r >= 'a' && r <= 'f'
}

func notHex(r rune) bool { return !isHex(r) }

func isSeparator(r rune) bool {
	if unicode.IsSpace(r) || unicode.In(r, unicode.Cf, unicode.So) {
		return true
	}
	return strings.ContainsRune(",;.:-/\\|()[]{}<>\"'`´“”„‟‘’‚‹›«»$&=+~–—−‐‑·•#，；：。、（）「」【】→!¿¡", r)
}

// clean drops what is notation only: spaces and punctuation, 0x, $, h, &H, \x, brackets, quotes, the adapter's prompt and
// its OK. It drops no digit and changes none. Cleaning what came out of it changes nothing.
func clean(text string) cleaned {
	var c cleaned
	runes := make([]rune, 0, min(len(text), maxRunes))
	for _, r := range text {
		if len(runes) == maxRunes {
			c.found("too-long", Wrong, -1, fmt.Sprintf("This text is longer than %d characters. It is not read.", maxRunes), "Paste the lines with the request only.")
			return c
		}
		runes = append(runes, r)
	}
	var found int
	if runes, c.prose, found = requestsIn(runes); c.prose && found == 0 {
		c.found("no-request", Wrong, -1, "There are words, but no identifier with bytes after it.", "Type the identifier and the bytes, as in 7E0 03 22 F1 90.")
	}
	line, start := 0, 0
	for i := 0; i <= len(runes); i++ {
		if i == len(runes) || isBreak(runes[i]) {
			c.line(runes[start:i], start, line)
			start = i + 1
			line++
		}
	}
	if c.slips > 0 {
		guess := slices.Clone(runes)
		for _, f := range c.findings {
			if f.Code == "letter-for-digit" && f.At < len(guess) {
				guess[f.At], _ = alike(guess[f.At])
			}
		}
		c.guess = string(guess)
	}
	return c
}

func isBreak(r rune) bool {
	return r == '\n' || r == '\r' || r == '\v' || r == '\f' || r == '\u0085' || r == '\u2028' || r == '\u2029'
}

// word is a run without separators.
type word struct {
	r    []rune
	at   int
	hash bool // a # stands after it
}

func (w word) upper() string { return strings.ToUpper(string(w.r)) }

func (c *cleaned) line(runes []rune, at, line int) {
	var words []word
	for i := 0; i < len(runes); {
		r := runes[i]
		switch {
		case r == '…' || r == '.' && i+1 < len(runes) && runes[i+1] == '.':
			c.found("placeholder", Wrong, at+i, "Dots stand for bytes that are not written out.", "Ask for the missing bytes. They are never filled in here.")
			for i < len(runes) && (runes[i] == '.' || runes[i] == '…') {
				i++
			}
		case r == '#':
			if i+1 < len(runes) && runes[i+1] == '#' {
				c.found("can-fd", Wrong, at+i, "Two # mark a CAN FD frame. Requests are classical frames.", "Check where the request comes from.")
				i++
			}
			if len(words) > 0 {
				words[len(words)-1].hash = true
			}
			i++
		case r == '&' && i+1 < len(runes) && (runes[i+1] == 'H' || runes[i+1] == 'h'):
			i += 2
		case r == '\\' && i+2 < len(runes) && (runes[i+1] == 'x' || runes[i+1] == 'X') && isHex(runes[i+2]):
			i += 2
		case isSeparator(r), joint(runes, i):
			i++
		default:
			j := i + 1
			for j < len(runes) && !isSeparator(runes[j]) && runes[j] != '…' && !joint(runes, j) {
				j++
			}
			if j == i+1 && j < len(runes) && (r == 'b' || r == 'B') && (runes[j] == '"' || runes[j] == '\'') { // b"…", bytes of a program
				i = j
				continue
			}
			words = append(words, word{r: runes[i:j], at: at + i})
			i = j
		}
	}
	if n := len(words); n > 0 && words[n-1].upper() == "OK" {
		words = words[:n-1]
	}
	words, rest := c.adapter(words)
	if rest {
		return
	}
	id, named := false, false
	for i := 0; i < len(words); i++ {
		if names, ok := labels[words[i].upper()]; ok {
			id, named = names, true
			if slices.Contains(lengthLabels, words[i].upper()) && i+1 < len(words) && len(words[i+1].r) < 3 {
				i++
				c.found("frame-length", Note, words[i].at, fmt.Sprintf("The %s says how many bytes follow. It is not one of them.", string(words[i].r)), "")
			}
			continue
		}
		if used := c.codeText(words[i:]); used > 0 {
			i += used - 1
			continue
		}
		before := len(c.tokens)
		c.word(words[i], line)
		if named && len(c.tokens) > before {
			c.tokens[before].id, c.tokens[before].named, id, named = id, true, false, false
		}
		if words[i].hash && len(c.tokens) > before {
			c.tokens[len(c.tokens)-1].hash = true
		}
		if words[i].hash && i+1 < len(words) && isRemote(words[i+1]) {
			c.found("remote-frame", Wrong, words[i+1].at, "R marks a remote frame, which is no request.", "Ask for the request's own bytes.")
			return
		}
	}
}

// joint reports an underscore between two digits, where it only separates, and a question mark after whole bytes, where
// it ends a sentence.
func joint(r []rune, i int) bool {
	if r[i] == '?' && i > 1 && isHex(r[i-1]) && isHex(r[i-2]) {
		return i+1 == len(r) || isSeparator(r[i+1])
	}
	return r[i] == '_' && i > 0 && isHex(r[i-1]) && i+1 < len(r) && isHex(r[i+1])
}

func isRemote(w word) bool {
	u := w.upper()
	return u == "R" || len(u) == 2 && u[0] == 'R' && u[1] >= '0' && u[1] <= '8'
}

// adapter reads a command for an ELM-style serial adapter at the start of a line. SH sets the identifier; everything
// else is left out. done tells that nothing is left of the line.
func (c *cleaned) adapter(words []word) (rest []word, done bool) {
	if len(words) == 0 {
		return words, true
	}
	yes, bare := isAdapterCommand(string(words[0].r))
	if !yes || bare && (len(words) == 1 || !isCommand(words[1].upper())) {
		return words, false
	}
	first, at := words[0].upper(), words[0].at
	command, more := first[2:], words[1:]
	if bare {
		command, more = words[1].upper(), words[2:]
	}
	h := header{at: at, from: at, to: words[0].at + len(words[0].r), before: len(c.tokens)}
	digits, ok := strings.CutPrefix(command, "SH")
	if !ok || first[:2] == "ST" {
		c.found("adapter-command", Doubt, at, "This line is a command for the adapter, not for the car. It is left out.", "Give the identifier and the bytes only.")
		return nil, true
	}
	if digits == "" && len(more) > 0 {
		h.from = more[0].at
		left := len(more)
		used := more
		digits, more = headerDigits(more)
		last := used[left-len(more)-1]
		h.to = last.at + len(last.r)
	} else if !bare {
		h.from = h.to - len(digits)
	} else {
		h.to = words[1].at + len(words[1].r)
		h.from = h.to - len(digits)
	}
	switch {
	case len(digits) == 6 && allHex(digits):
		digits = "18" + digits // the adapter's own setting for the first two digits when nothing else was set
		fallthrough
	case (len(digits) == 3 || len(digits) == 8) && allHex(digits):
		h.text = digits
		c.headers = append(c.headers, h)
		c.found("adapter-command", Note, at, fmt.Sprintf("A command for the adapter sets the identifier %s. It is taken as the identifier.", digits), "")
	default:
		c.found("adapter-command", Wrong, at, "A command for the adapter sets an identifier that can't be read.", "Give the identifier as 3 or 8 digits.")
	}
	return more, len(more) == 0
}

func allHex(s string) bool {
	for _, r := range s {
		if !isHex(r) {
			return false
		}
	}
	return s != ""
}

// headerDigits takes 3, 6 or 8 digits, in one word or in pairs, off the front of words.
func headerDigits(words []word) (string, []word) {
	if len(words) > 0 && len(words[0].r) != 2 {
		return words[0].upper(), words[1:]
	}
	n := 3
	if len(words) > 1 && words[0].upper() == "18" && strings.HasPrefix(words[1].upper(), "D") {
		n = 4
	}
	var s string
	for i := 0; i < n && i < len(words); i++ {
		s += words[i].upper()
	}
	return s, words[min(n, len(words)):]
}

// codeText notices a trouble code written with P or U, perhaps in several words; used tells how many.
func (c *cleaned) codeText(words []word) (used int) {
	r := words[0].upper()
	if r[0] != 'P' && r[0] != 'U' {
		return 0
	}
	if len(r) > 1 && !allHex(r[1:]) {
		return 0
	}
	digits := r[1:]
	for used = 1; len(digits) < 4 && used < len(words) && allHex(words[used].upper()); used++ {
		digits += words[used].upper()
	}
	if len(digits) < 4 || digits[0] > '3' {
		return 0
	}
	last := words[used-1]
	c.isCode(r[:1]+digits[:4], words[0].at, last.at+len(last.r))
	return used
}

// isCode says that a trouble code stands from one place to another, where bytes are expected.
func (c *cleaned) isCode(name string, at, to int) {
	c.holes = append(c.holes, hole{at, to})
	letter := strings.IndexByte("PCBU", name[0])
	bytes := fmt.Sprintf("%X%s %s", letter<<2|int(name[1]-'0'), name[2:3], name[3:5])
	c.found("code-as-text", Wrong, at, name+" is a trouble code in letters, not bytes.", fmt.Sprintf("In bytes %s is %s. Type that, if it is meant.", name, bytes))
}

// word makes tokens of one word, or says what is wrong with it.
func (c *cleaned) word(w word, line int) {
	for len(w.r) > 0 {
		// 0x in front, and between bytes written without spaces
		if len(w.r) > 2 && w.r[0] == '0' && isX(w.r[1]) && !isX(w.r[2]) && w.r[2] != '?' {
			w = word{r: w.r[2:], at: w.at + 2}
			continue
		}
		end := len(w.r)
		for i := 1; i+2 < len(w.r); i++ {
			if w.r[i] == '0' && isX(w.r[i+1]) && isHex(w.r[i+2]) {
				end = i
				break
			}
		}
		c.piece(word{r: w.r[:end], at: w.at}, line)
		w = word{r: w.r[end:], at: w.at + end}
	}
}

func isX(r rune) bool { return r == 'x' || r == 'X' }

func (c *cleaned) piece(w word, line int) {
	start := 0
	for i, r := range w.r { // an h after hex digits ends a number: 14h, 04h14h
		if (r == 'h' || r == 'H') && i > start && !slices.ContainsFunc(w.r[start:i], notHex) {
			c.token(w.r[start:i], w.at+start, line)
			start = i + 1
		}
	}
	w = word{r: w.r[start:], at: w.at + start}
	if len(w.r) == 0 {
		return
	}
	if !slices.ContainsFunc(w.r, notHex) {
		c.token(w.r, w.at, line)
		return
	}
	c.unreadable(w)
}

func (c *cleaned) token(r []rune, at, line int) {
	text := strings.ToUpper(string(r))
	if len(text) == 5 && (text[0] == 'B' || text[0] == 'C') && text[1] <= '3' { // B and C are digits too, but five are no bytes
		c.isCode(text, at, at+len(r))
		return
	}
	c.tokens = append(c.tokens, token{text: text, at: at, line: line})
}

func (c *cleaned) unreadable(w word) {
	c.holes = append(c.holes, hole{w.at, w.at + len(w.r)})
	if isPlaceholder(w.r) {
		c.found("placeholder", Wrong, w.at, fmt.Sprintf("%q stands for a byte that is not written out.", string(w.r)), "Ask for the missing byte. It is never filled in here.")
		return
	}
	letters, foreign := 0, 0
	for _, r := range w.r {
		_, like := alike(r)
		if unicode.IsLetter(r) {
			letters++
		}
		if !isHex(r) && !like {
			foreign++
		}
	}
	if letters == len(w.r) && len(w.r) > 2 && foreign > 0 {
		c.found("words", Wrong, w.at, fmt.Sprintf("%q is a word, not a byte.", short(string(w.r))), "Leave only the request: the identifier and the bytes.")
		return
	}
	for i, r := range w.r {
		if isHex(r) {
			continue
		}
		if d, ok := alike(r); ok {
			said := string(d)
			if n := digitNames[d]; n != "" {
				said += " (" + n + ")"
			}
			c.found("letter-for-digit", Wrong, w.at+i, fmt.Sprintf("%q is not a digit 0-9 or A-F.", string(r)), fmt.Sprintf("Did you mean %s? Type it again.", said))
			c.slips++
			continue
		}
		c.found("not-hex", Wrong, w.at+i, fmt.Sprintf("%q is not a digit 0-9 or A-F.", string(r)), "Compare this place with the instructions.")
	}
}

func short(s string) string {
	r := []rune(s)
	if len(r) > 20 {
		return string(r[:20]) + "…"
	}
	return s
}

// isPlaceholder: xx, ??, nn, or digits with x or ? among them.
func isPlaceholder(r []rune) bool {
	marks, same := 0, true
	for _, x := range r {
		switch {
		case isX(x) || x == '?' || x == '*' || x == '_':
			marks++
		case !isHex(x):
			marks = -100
		}
		same = same && unicode.ToLower(x) == unicode.ToLower(r[0])
	}
	return marks > 0 || same && len(r) == 2 && strings.ContainsRune("nyhmkNYHMK", r[0])
}
