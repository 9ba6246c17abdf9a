package explain

import (
	"fmt"
	"iter"
	"slices"
	"strings"
)

// variant is data with one slip taken back.
type variant struct {
	data []byte
	slip string // what is different, a sentence
	kind slipKind
}

// slipKind orders slips by how easily they happen to a hand that copies digits (common practice, no source).
type slipKind uint8

const (
	lookAlikes   slipKind = iota // 8 and B, 0 and D, 6 and B
	swappedPair                  // two neighbouring digits
	doubledByte                  // a byte twice
	lostByte                     // a byte left out
	changedDigit                 // another digit
	swappedBytes                 // two neighbouring bytes
	extraByte                    // a byte too many
)

// alikeDigits are hex digits that are read for each other.
var alikeDigits = []string{"8B", "0D", "6B", "17", "5E", "CE", "38", "9A"}

// digitChanges are all data with one other digit in the first n bytes.
func digitChanges(data []byte, n int) iter.Seq[variant] {
	return func(yield func(variant) bool) {
		for i := range 2 * min(len(data), n) {
			shift := 4 * (1 - i%2)
			was := data[i/2] >> shift & 0x0F
			for d := byte(0); d < 16; d++ {
				if d == was {
					continue
				}
				q := slices.Clone(data)
				q[i/2] ^= (was ^ d) << shift
				kind := changedDigit
				pair := fmt.Sprintf("%X%X", min(was, d), max(was, d))
				if slices.Contains(alikeDigits, pair) {
					kind = lookAlikes
				}
				if !yield(variant{q, changed(i/2, data[i/2], q[i/2]), kind}) {
					return
				}
			}
		}
	}
}

func changed(i int, was, is byte) string {
	return fmt.Sprintf("Byte %d: %02X instead of %02X.", i+1, is, was)
}

// swaps are all data with two neighbouring digits or bytes swapped.
func swaps(data []byte) iter.Seq[variant] {
	return func(yield func(variant) bool) {
		for i := range 2 * len(data) {
			q := swapDigits(data, i)
			if q == nil {
				continue
			}
			slip := changed(i/2, data[i/2], q[i/2])
			if i%2 == 1 {
				slip = fmt.Sprintf("Bytes %d and %d: %s instead of %s.", i/2+1, i/2+2, hexOf(q[i/2:i/2+2]), hexOf(data[i/2:i/2+2]))
			}
			if !yield(variant{q, slip, swappedPair}) {
				return
			}
		}
		for i := 0; i+1 < len(data); i++ {
			if data[i] == data[i+1] {
				continue
			}
			q := slices.Clone(data)
			q[i], q[i+1] = q[i+1], q[i]
			if !yield(variant{q, fmt.Sprintf("Bytes %d and %d swapped.", i+1, i+2), swappedBytes}) {
				return
			}
		}
	}
}

// shorter are all data without one of the bytes.
func shorter(data []byte) iter.Seq[variant] {
	return func(yield func(variant) bool) {
		for i := range data {
			kind, slip := extraByte, fmt.Sprintf("Without byte %d (%02X).", i+1, data[i])
			switch {
			case i > 0 && data[i] == data[i-1]:
				kind = doubledByte
			case i == 0 && data[0] == 0:
				kind, slip = doubledByte, "Without the 00 in front."
			}
			if !yield(variant{slices.Delete(slices.Clone(data), i, i+1), slip, kind}) {
				return
			}
		}
	}
}

// longer are all data with one byte more in front of one of the first n. A byte of filling at the end makes room for it.
func longer(data []byte, n int) iter.Seq[variant] {
	return func(yield func(variant) bool) {
		base := data
		if len(base) == 8 {
			if !isFiller(base[7]) {
				return
			}
			base = base[:7]
		}
		for i := range min(n, len(base)) + 1 {
			for b := range 256 {
				q := slices.Insert(slices.Clone(base), i, byte(b))
				if !yield(variant{q, fmt.Sprintf("With %02X as byte %d.", b, i+1), lostByte}) {
					return
				}
			}
		}
	}
}

// mended are the whole bytes that an odd number of digits may have been: with one digit more, or one less.
func mended(typed string) iter.Seq[variant] {
	const hexDigits = "0123456789ABCDEF"
	return func(yield func(variant) bool) {
		if len(typed)%2 == 0 || len(typed) > 17 {
			return
		}
		for i := range len(typed) + 1 {
			for _, d := range hexDigits {
				q := typed[:i] + string(d) + typed[i:]
				if !yield(variant{unhex(q), fmt.Sprintf("With a digit %c before digit %d.", d, i+1), lostByte}) {
					return
				}
			}
			if i < len(typed) && !yield(variant{unhex(typed[:i] + typed[i+1:]), fmt.Sprintf("Without digit %d (%c).", i+1, typed[i]), extraByte}) {
				return
			}
		}
	}
}

// usual reports a request of the kind that instructions for owners hold: well formed, class look or change, and all its
// numbers among those that the standards or this car's record name. It is the grammar that slips are compared with.
func usual(p []byte, w who, o *Options) bool {
	if len(p) == 0 || isAnswer(p[0]) {
		return false
	}
	f := readForm(p)
	if !f.complete || w.older() && !readOlder(p).complete || f.silent(p) && p[0] != 0x3E {
		return false
	}
	switch p[0] {
	case 0x01, 0x02:
		for i := 1; i < len(p); i += 1 + int(p[0]-1) {
			if pids[p[i]] == "" {
				return false
			}
		}
		return len(p) == 2 || p[0] == 0x02 && len(p) == 3 && p[2] == 0
	case 0x03, 0x04, 0x07, 0x0A, 0x13, 0x20:
		return len(p) == 1
	case 0x09:
		return len(p) == 2 && !strings.HasPrefix(infoText(p[1]), "Number ")
	case 0x10:
		return p[1] == 0x01 || p[1] == 0x03
	case 0x14:
		return usualGroup(p, w)
	case 0x18:
		return len(p) == 4 && be16(p[2:]) == 0xFF00 && p[1] <= 0x03
	case 0x19:
		return usualReport(p, w)
	case 0x1A:
		return p[1] >= 0x80 && p[1] <= 0x9F
	case 0x22:
		for i := 1; i+1 < len(p); i += 2 {
			if id := be16(p[i:]); (!listed(id) || didName(id) == "") && !slices.Contains(o.Identifiers, id) {
				return false
			}
		}
		return len(p) == 3
	case 0x28:
		return p[1] == 0x00 && p[2] <= 0x03
	case 0x3E:
		return p[1]&0x7F == 0x00
	case 0x85:
		return p[1] == 0x01 && len(p) == 2
	}
	return false
}

// usualGroup: all codes, a group that the standard names, or a code that the module holds.
func usualGroup(p []byte, w who) bool {
	switch len(p) {
	case 3:
		return be16(p[1:]) == 0xFF00
	case 4:
		return be24(p[1:]) != 0 && groups[be24(p[1:])] != "" || holds(w, p[1:])
	}
	return false
}

// usualMasks are the patterns of a code's state that codes are asked by (common practice, no source).
var usualMasks = []byte{0x01, 0x04, 0x08, 0x09, 0x0C, 0x0D, 0x2F, 0x8D, 0x8F, 0xAF, 0xFF}

// usualReport: what the report is about is all codes, or one that the module holds.
func usualReport(p []byte, w who) bool {
	switch p[1] & 0x7F {
	case 0x04, 0x06, 0x09:
		return holds(w, p[2:])
	case 0x01, 0x02:
		return slices.Contains(usualMasks, p[2])
	case 0x03, 0x0A, 0x0B, 0x0C, 0x0D, 0x0E, 0x14, 0x15:
		return true
	case 0x08, 0x07:
		return p[3] == 0xFF || p[2] == 0xFF
	}
	return false
}
