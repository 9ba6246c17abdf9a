package explain

import (
	"slices"
	"strings"
	"unicode"
)

// mark is what a word of a text may be to a request.
type mark uint8

const (
	proseMark  mark = iota // a word of some language
	digitsMark             // hex digits
	likeMark               // hex digits with a look-alike among them
	holeMark               // a placeholder
	labelMark              // "ID:", "data ="
	codeMark               // a trouble code in letters
	orderMark              // a command for the adapter
)

// spot is a word of a text with its place.
type spot struct {
	mark     mark
	from, to int    // runes
	text     string // upper case, without the notation
	line     int
	lower    bool // typed in small letters
	names    bool // the label before it is one of an identifier
	hash     bool // a # stands after it
}

// labels are words that only say what comes next; true for those of an identifier.
var labels = map[string]bool{"ID": true, "CANID": true, "ARBID": true, "HEADER": true, "HDR": true, "IDENTIFIER": true, "ADDRESS": true, "ADDR": true,
	"KENNUNG": true, "CAN": false, "DATA": false, "DATEN": false, "DATOS": false, "DATI": false, "BYTES": false, "PAYLOAD": false, "HEX": false, "TX": false,
	"RX": false, "SEND": false, "FRAME": false, "MSG": false, "REQ": false, "REQUEST": false, "DLC": false, "LEN": false, "LENGTH": false}

// lengthLabels are followed by a number of bytes that is none of the bytes.
var lengthLabels = []string{"DLC", "LEN", "LENGTH"}

// adapterCommands are those of the ELM327 data sheet, without their arguments.
var adapterCommands = []string{"@", "A", "BD", "BI", "BRD", "BRT", "BUFDUMP", "CAF", "CEA", "CF", "CFC", "CM", "CP", "CRA", "CS", "CSM", "CTM", "CV", "D", "DM", "DP", "DPN", "E", "FC",
	"FE", "FI", "H", "I", "IB", "IFR", "IGN", "IIA", "JE", "JHF", "JS", "JTM", "KW", "L", "LP", "M", "MA", "MP", "MR", "MT", "NL", "PB", "PC", "PP", "R", "RA", "RD", "RTR", "RV",
	"S", "SD", "SH", "SI", "SP", "SR", "SS", "ST", "SW", "TA", "TP", "V", "WM", "WS", "Z"}

// isAdapterCommand reports AT with a command of the data sheet and its hex arguments in one word, or ST with capital
// letters; bare is AT alone, whose command is the next word.
func isAdapterCommand(w string) (yes, bare bool) {
	u := strings.ToUpper(w)
	command, at := strings.CutPrefix(u, "AT")
	if !at {
		return strings.HasPrefix(w, "ST") && len(w) > 2 && len(w) < 7 && w[2] >= 'A' && w[2] <= 'Z' && w == u, false
	}
	if command == "" {
		return true, true
	}
	return isCommand(command), false
}

func isCommand(s string) bool {
	if strings.HasPrefix(s, "SH") {
		return true // what it sets is judged where it is read
	}
	for _, c := range adapterCommands {
		if rest, ok := strings.CutPrefix(s, c); ok && (rest == "" || rest == "ON" || rest == "OFF" || allHex(rest)) {
			return true
		}
	}
	return false
}

// script tells runes of writing that has no spaces between words.
func script(r rune) bool {
	return r > 0x0E00 && unicode.In(r, unicode.Han, unicode.Hiragana, unicode.Katakana, unicode.Hangul, unicode.Thai)
}

// spots splits a text into words; prose tells whether some of them belong to no request.
func spots(runes []rune) (out []spot, prose bool) {
	line, fresh := 0, true
	for i := 0; i < len(runes); {
		r := runes[i]
		switch {
		case isBreak(r):
			line, fresh = line+1, true
			i++
			continue
		case isSeparator(r), r == '…', joint(runes, i):
			i++
			continue
		}
		j := i + 1
		for j < len(runes) && script(runes[j]) == script(r) && !isSeparator(runes[j]) && runes[j] != '…' && !joint(runes, j) {
			j++
		}
		s := markOf(runes, i, j)
		if fresh && len(s.text) < 24 {
			if yes, bare := isAdapterCommand(string(runes[i:j])); yes && (!bare || isCommand(nextWord(runes[j:]))) {
				s.mark = orderMark
			}
		}
		if s.mark == proseMark && isWord(runes[i:j]) {
			prose = true
		}
		s.line, fresh = line, false
		if n := len(out); n > 0 && out[n-1].mark == labelMark && labels[out[n-1].text] && out[n-1].line == line {
			s.names = true
		}
		out = append(out, s)
		i = j
	}
	return out, prose
}

// nextWord is the first word of runes on their line, in capital letters.
func nextWord(runes []rune) string {
	for i, r := range runes {
		if isBreak(r) {
			break
		}
		if isSeparator(r) {
			continue
		}
		j := i
		for j < len(runes) && j < i+12 && !isSeparator(runes[j]) {
			j++
		}
		return strings.ToUpper(string(runes[i:j]))
	}
	return ""
}

// isWord reports what only a language can be: letters, some of which look like no digit.
func isWord(r []rune) bool {
	if script(r[0]) {
		return true
	}
	foreign, likes, small := false, 0, true
	for _, x := range r {
		if !unicode.IsLetter(x) {
			return false
		}
		_, like := alike(x)
		switch {
		case !like && !isHex(x):
			foreign = true
		case like && !isHex(x):
			likes++
		}
		small = small && unicode.IsLower(x)
	}
	return len(r) > 2 && (foreign || small && likes > 1)
}

func markOf(runes []rune, from, to int) spot {
	s := spot{from: from, to: to, hash: to < len(runes) && runes[to] == '#'}
	w := runes[from:to]
	if len(w) > 200 {
		w = w[:200] // nothing of a request is longer
	}
	if from > 0 && len(w) > 1 && (runes[from-1] == '&' && (w[0] == 'H' || w[0] == 'h') || runes[from-1] == '\\' && isX(w[0])) {
		w = w[1:]
		s.from--
	}
	core := w
	if len(core) > 2 && core[0] == '0' && isX(core[1]) {
		core = core[2:]
	}
	if n := len(core); n > 1 && (core[n-1] == 'h' || core[n-1] == 'H') {
		core = core[:n-1]
	}
	s.text = strings.ToUpper(string(core))
	digits, letters, hex, known, small := 0, 0, 0, 0, true
	for _, r := range core {
		_, like := alike(r)
		switch {
		case r >= '0' && r <= '9':
			digits++
			hex++
		case isHex(r):
			letters++
			hex++
			small = small && r >= 'a'
		}
		if isHex(r) || like {
			known++
		}
	}
	n := len(core)
	s.lower = small && letters > 0
	upper := strings.ToUpper(string(w))
	_, label := labels[upper]
	switch {
	case label:
		s.mark, s.text = labelMark, upper
	case hex == n && s.lower && digits == 0 && n > 2 && strings.Trim(s.text, s.text[:1]) != "":
		s.mark = proseMark // bad, face, dead
	case hex == n:
		s.mark = digitsMark
	case compound(w):
		s.mark = digitsMark
		s.text = strings.NewReplacer("0X", "", "H", "").Replace(upper)
	case isPlaceholder(w) && len(w) < 3:
		s.mark = holeMark
	case len(s.text) > 1 && len(s.text) < 6 && (s.text[0] == 'P' || s.text[0] == 'U') && allHex(s.text[1:]):
		s.mark = codeMark
	case known == n && digits > 0 && hex > 0 && n < 9:
		s.mark = likeMark
	}
	return s
}

// compound reports numbers with their notation but without spaces: 0x040x14, 04h14h.
func compound(w []rune) bool {
	marks := 0
	for i, r := range w {
		switch {
		case isHex(r):
		case isX(r) && i > 0 && w[i-1] == '0', (r == 'h' || r == 'H') && i > 1 && isHex(w[i-1]) && isHex(w[i-2]):
			marks++
		default:
			return false
		}
	}
	return marks > 1
}

// requestsIn blanks out what belongs to no request in a text that has words in it; places stay as they are. prose tells
// whether anything was left out. found tells how many runs of bytes were kept.
func requestsIn(runes []rune) (masked []rune, prose bool, found int) {
	all, prose := spots(runes)
	if !prose {
		return runes, false, 0
	}
	masked = slices.Clone(runes)
	for i, r := range masked {
		if !isBreak(r) {
			masked[i] = ' '
		}
	}
	named := false // an identifier is known for bytes that come without one
	var bare []spot
	for i := 0; i < len(all); {
		if all[i].mark == orderMark {
			j := i + 1
			for j < len(all) && all[j].line == all[i].line && all[j].mark != proseMark {
				j++
			}
			keep(masked, runes, all[i].from, all[j-1].to)
			named = named || strings.Contains(all[i].text, "SH") || j > i+1 && strings.HasPrefix(all[i+1].text, "SH")
			i = j
			continue
		}
		j := runEnd(all, i)
		if j == i {
			i++
			continue
		}
		r := run(all[i:j], named)
		switch {
		case r.bytes > 0:
			if len(bare) > 0 && !r.id {
				keep(masked, runes, bare[0].from, bare[len(bare)-1].to)
			}
			bare = nil
			keep(masked, runes, all[i+r.from].from, all[i+r.to-1].to)
			named, found = true, found+1
		case r.id:
			bare, named = all[i+r.from:i+r.to], true
		}
		i = j
	}
	prose = false
	for i, r := range runes {
		prose = prose || masked[i] == ' ' && !isSeparator(r)
	}
	return masked, prose, found
}

// keep puts a part of the text back, and a line break before it where there is room.
func keep(masked, runes []rune, from, to int) {
	copy(masked[from:to], runes[from:to])
	if from > 0 && masked[from-1] == ' ' {
		masked[from-1] = '\n'
	}
}

// runEnd is the end of the words from i on that may be one request.
func runEnd(all []spot, i int) int {
	j, bytes := i, 0
	for ; j < len(all) && (j == i || all[j].line == all[i].line || continues(all, i, j)); j++ {
		switch all[j].mark {
		case digitsMark, likeMark, holeMark:
			bytes++
		case labelMark:
		case codeMark:
			if bytes < 2 {
				return j
			}
		case proseMark:
			if bytes < 2 || j+1 >= len(all) || all[j].line != all[j+1].line || all[j].to-all[j].from > 4 || !isByte(all[j+1]) {
				return j
			}
		default:
			return j
		}
	}
	return j
}

func isByte(s spot) bool { return s.mark == digitsMark && len(s.text) == 2 && !s.lower }

// continues reports a line of bytes alone, right after a line that ended with bytes.
func continues(all []spot, from, j int) bool {
	if all[j].line != all[j-1].line+1 || all[j-1].mark == labelMark {
		return false
	}
	n := 0
	for k := j; k < len(all) && all[k].line == all[j].line; k++ {
		if !isByte(all[k]) {
			return false
		}
		n++
	}
	for k := j - 1; k >= from && n < 9; k-- {
		if !isByte(all[k]) {
			break
		}
		n++
	}
	return n < 9
}

// runOf is what a run of words holds: words from..to, whether an identifier begins it, how many bytes.
type runOf struct {
	from, to int
	id       bool
	bytes    int
}

func run(s []spot, named bool) runOf {
	r := runOf{to: len(s)}
	for r.to > 1 && trailing(s[:r.to]) {
		r.to--
	}
	s = s[:r.to]
	for p := range s {
		n, inside, sure := leads(s[p:])
		if n == 0 {
			continue
		}
		bytes := inside + bytesIn(s[p+n:])
		if bytes > 1 || bytes == 1 && sure {
			return runOf{from: p, to: r.to, id: true, bytes: bytes}
		}
		if bytes == 0 && sure && p+n == len(s) {
			return runOf{from: p, to: r.to, id: true}
		}
	}
	for p := range s {
		if s[p].mark != labelMark && len(s[p].text)%2 == 0 {
			if n := bytesIn(s[p:]); n > 1 && aloneRequest(s[p:], named) {
				return runOf{from: p, to: r.to, bytes: n}
			}
			break
		}
	}
	return runOf{}
}

// trailing reports that the last word is more likely one of a language: de, a, be after FF FF FF.
func trailing(s []spot) bool {
	last := s[len(s)-1]
	if last.mark == labelMark {
		return true
	}
	if last.mark != digitsMark || !last.lower || strings.ContainsAny(last.text, "0123456789") || len(last.text) > 2 || last.to-last.from != len(last.text) {
		return false
	}
	for _, x := range s[:len(s)-1] {
		if x.lower {
			return len(last.text) == 1 || len(s) > 2 && !sound(bytesOf(s[1:])) && sound(bytesOf(s[1:len(s)-1]))
		}
	}
	return true
}

// leads tells how many words at the front are an identifier, and how many bytes are joined to it. sure: it can be
// nothing else.
func leads(s []spot) (n, bytes int, sure bool) {
	t := s[0]
	if t.mark == likeMark && len(t.text) == 3 && len(s) > 2 && (t.text[0] == '7' || t.names) {
		return 1, 0, false
	}
	if t.mark != digitsMark {
		return 0, 0, false
	}
	letter := strings.ContainsAny(t.text, "ABCDEF")
	switch k := len(t.text); {
	case t.hash && (k == 3 || k == 8), t.names && (k == 3 || k == 8):
		return 1, 0, true
	case k == 3 && t.text[0] <= '7' && (t.text[0] == '7' || letter):
		return 1, 0, letter && t.text[0] == '7'
	case k == 8 && (wide(t.text) || strings.HasPrefix(t.text, "000007")):
		return 1, 0, true
	case k > 4 && k%2 == 1 && t.text[0] == '7' && letter:
		return 1, (k - 3) / 2, true
	case k > 8 && k%2 == 0 && wide(t.text):
		return 1, (k - 8) / 2, true
	case k == 4 && decimalID(t.text) != 0 && len(s) > 2 && isByte(s[1]) && s[1].text < "08":
		return 1, 0, false
	}
	if n, more := pairedID(texts(s)); n > 0 {
		return n, more / 2, true
	}
	return 0, 0, false
}

// wide reports the digits of a 29-bit identifier for requests or answers.
func wide(s string) bool { return strings.HasPrefix(s, "18DA") || strings.HasPrefix(s, "18DB") }

func texts(s []spot) []string {
	out := make([]string, 0, 5)
	for _, x := range s[:min(len(s), 5)] {
		out = append(out, x.text)
	}
	return out
}

func bytesIn(s []spot) int {
	n := 0
	for _, x := range s {
		switch x.mark {
		case digitsMark, likeMark, holeMark:
			n += len(x.text) / 2
		}
	}
	return n
}

func bytesOf(s []spot) []byte {
	var out []byte
	for _, x := range s {
		if x.mark == digitsMark && len(x.text)%2 == 0 {
			out = append(out, unhex(x.text)...)
		}
	}
	return out
}

// aloneRequest reports bytes without an identifier that are a request all the same: dates and times are bytes too.
func aloneRequest(s []spot, named bool) bool {
	letter := false
	for _, x := range s {
		if x.mark == proseMark || x.mark != labelMark && len(x.text)%2 == 1 {
			return false
		}
		letter = letter || x.mark == digitsMark && strings.ContainsAny(x.text, "ABCDEF")
	}
	d := bytesOf(s)
	if len(d) == 0 || len(d) > 8 || !letter && !named && len(d) < 5 {
		return false
	}
	t := split(d, 0)
	return t.kind == single && (readable(t.payload) || isAnswer(t.payload[0])) || uncounted(d) > 0 && (letter || len(d) > 3)
}
