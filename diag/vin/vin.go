// Package vin reads a vehicle identification number after ISO 3779: 17 characters, of which positions 1-3 name the
// maker, 4-9 describe the vehicle and 10-17 the single car. In North America position 9 is a check digit and position
// 10 the model year (49 CFR 565); elsewhere both may be anything.
package vin

import (
	"fmt"
	"strings"
)

// Length of a number.
const Length = 17

// VIN is a number of the right form. The zero VIN is none.
type VIN string

// LengthError is a text with another number of characters than 17.
type LengthError struct{ Got int }

func (e *LengthError) Error() string {
	return fmt.Sprintf("vin: a vehicle identification number has 17 characters, this has %d", e.Got)
}

// CharacterError is a character that can't be in a number. At counts from 1.
type CharacterError struct {
	At   int
	Rune rune
}

func (e *CharacterError) Error() string {
	why := "only digits and the letters A-Z without I, O and Q can be in it"
	switch e.Rune {
	case 'I':
		why = "the letter I is not used; the digit 1 may be meant"
	case 'O', 'Q':
		why = fmt.Sprintf("the letter %c is not used; the digit 0 may be meant", e.Rune)
	}
	return fmt.Sprintf("vin: place %d holds %q: %s", e.At, e.Rune, why)
}

// Parse reads a number; lower-case letters, blanks and hyphens are allowed. It refuses a wrong length or character,
// never a check digit.
func Parse(s string) (VIN, error) {
	runes := []rune(strings.ToUpper(strings.NewReplacer(" ", "", "-", "").Replace(strings.TrimSpace(s))))
	if len(runes) != Length {
		return "", &LengthError{len(runes)}
	}
	for i, r := range runes {
		if _, ok := value(r); !ok {
			return "", &CharacterError{i + 1, r}
		}
	}
	return VIN(runes), nil
}

// letterValues are the values of A-Z in the check sum, 49 CFR 565 table III; 0 for I, O and Q, which can't occur.
const letterValues = "12345678012345070923456789"

func value(r rune) (int, bool) {
	switch {
	case r >= '0' && r <= '9':
		return int(r - '0'), true
	case r >= 'A' && r <= 'Z' && r != 'I' && r != 'O' && r != 'Q':
		return int(letterValues[r-'A'] - '0'), true
	}
	return 0, false
}

// weights of the 17 places, 49 CFR 565 table IV.
var weights = [Length]int{8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2}

// Applies tells whether the check digit and the year letter are prescribed where the number comes from.
type Applies string

const (
	Always    Applies = "prescribed"     // North America (and, from memory, China for the check digit)
	Sometimes Applies = "not prescribed" // elsewhere: a mismatch then says nothing
)

// CheckDigit computes what place 9 should hold: the weighted sum modulo 11, with X for 10. ok tells whether it does.
// A mismatch is worth telling only where applies is [Always]; it is never a reason to refuse the number.
func (v VIN) CheckDigit() (want byte, ok bool, applies Applies) {
	if len(v) != Length {
		return 0, false, Sometimes
	}
	sum := 0
	for i, r := range v {
		n, _ := value(r)
		sum += n * weights[i]
	}
	want = "0123456789X"[sum%11]
	return want, v[8] == want, v.applies()
}

func (v VIN) applies() Applies {
	if v[0] >= '1' && v[0] <= '5' || v[0] == 'L' {
		return Always
	}
	return Sometimes
}

// WMI is the code of the maker, places 1-3. A 9 in the third place stands for a small maker, told apart by places 12-14.
func (v VIN) WMI() string {
	if len(v) != Length {
		return ""
	}
	return string(v[:3])
}

// Region is the part of the world that the first place stands for, ISO 3780; "" for a letter it gives to none.
func (v VIN) Region() string {
	if len(v) != Length {
		return ""
	}
	switch c := v[0]; {
	case c >= 'A' && c <= 'H':
		return "Africa"
	case c >= 'J' && c <= 'R':
		return "Asia"
	case c >= 'S' && c <= 'Z':
		return "Europe"
	case c >= '1' && c <= '5':
		return "North America"
	case c == '6' || c == '7':
		return "Oceania"
	case c == '8' || c == '9':
		return "South America"
	}
	return ""
}

// yearLetters are the letters of place 10 from 1980 on, 49 CFR 565 table VII; the sequence has 30 years.
const yearLetters = "ABCDEFGHJKLMNPRSTVWXY123456789"

// ModelYears are the years that place 10 may stand for, the likelier first; none when the letter stands for no year.
// For light vehicles of North America place 7 decides: a letter from 2010 on, a digit before (49 CFR 565.15(d), from
// memory). Outside North America place 10 need not be a year.
func (v VIN) ModelYears() []int {
	if len(v) != Length {
		return nil
	}
	i := strings.IndexByte(yearLetters, v[9])
	if i < 0 {
		return nil
	}
	early, late := 1980+i, 2010+i
	if v[0] >= '1' && v[0] <= '5' && v[6] >= '0' && v[6] <= '9' {
		return []int{early, late}
	}
	return []int{late, early}
}

// Mask keeps what describes the model, places 1-8 and 10, and hides what names the single car.
func (v VIN) Mask() string {
	b := []byte(v)
	for i := range b {
		if i >= 8 && i != 9 {
			b[i] = '*'
		}
	}
	return string(b)
}

func (v VIN) String() string { return string(v) }

// Description is what is known of a number without a list of makers. Its JSON is the terminal contract.
type Description struct {
	VIN        string     `json:"vin"`
	Masked     string     `json:"masked"`
	WMI        string     `json:"makerCode"`
	Region     string     `json:"region"` // "" when the first place stands for none
	CheckDigit CheckDigit `json:"checkDigit"`
	ModelYears []int      `json:"modelYears"` // candidates, the likelier first
	YearText   string     `json:"yearText"`
	Notes      []string   `json:"notes"`
}

// CheckDigit is the verdict on place 9.
type CheckDigit struct {
	Found   string  `json:"found"`
	Want    string  `json:"want"`
	Matches bool    `json:"matches"`
	Applies Applies `json:"applies"`
	Text    string  `json:"text"`
}

// Describe tells what is known of a number.
func (v VIN) Describe() Description {
	if len(v) != Length {
		return Description{ModelYears: []int{}, Notes: []string{"This is no vehicle identification number."}}
	}
	want, ok, applies := v.CheckDigit()
	d := Description{
		VIN: string(v), Masked: v.Mask(), WMI: v.WMI(), Region: v.Region(),
		CheckDigit: CheckDigit{Found: string(v[8]), Want: string(want), Matches: ok, Applies: applies},
		ModelYears: v.ModelYears(), Notes: []string{},
	}
	switch {
	case ok && applies == Always:
		d.CheckDigit.Text = "The check digit fits."
	case ok:
		d.CheckDigit.Text = "The check digit fits, though it is not prescribed for this region."
	case applies == Always:
		d.CheckDigit.Text = fmt.Sprintf("Place 9 holds %c; %c would fit. A character may be wrong. Compare it with the car's papers.", v[8], want)
	default:
		d.CheckDigit.Text = fmt.Sprintf("Place 9 holds %c, which is no check digit. It is not prescribed for this region, so this says nothing.", v[8])
	}
	d.YearText = v.yearText(d.ModelYears)
	if d.ModelYears == nil {
		d.ModelYears = []int{}
	}
	if v[2] == '9' {
		d.Notes = append(d.Notes, fmt.Sprintf("The third place is 9: a maker of few vehicles. Places 12-14 (%s) belong to its code.", v[11:14]))
	}
	if d.Region == "" {
		d.Notes = append(d.Notes, fmt.Sprintf("No region is set for a number that begins with %c.", v[0]))
	}
	return d
}

func (v VIN) yearText(years []int) string {
	if len(years) == 0 {
		return fmt.Sprintf("Place 10 holds %c, which stands for no model year.", v[9])
	}
	s := fmt.Sprintf("Place 10 holds %c: model year %d or %d.", v[9], years[0], years[1])
	if v[0] < '1' || v[0] > '5' {
		s += " Outside North America it need not be a year."
	}
	return s
}
