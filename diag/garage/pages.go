package garage

import (
	"encoding/binary"
	"errors"
	"math"
	"slices"
)

// What follows reads the pages of a store without the database, for a file that the database refuses. The format is
// published, https://www.sqlite.org/fileformat2.html; the sections are named beside the code. It believes nothing: every
// length and every number of a page is checked against the file.

// pageSize is that of every store that this program makes.
const pageSize = 4096

const (
	interiorIndex = 0x02 // 1.6, B-tree pages
	interiorTable = 0x05
	leafIndex     = 0x0A
	leafTable     = 0x0D
)

// pages are the bytes of a file that may be damaged.
type pages []byte

func (p pages) count() int { return (len(p) + pageSize - 1) / pageSize }

// page is the page with this number, counted from 1; nil when the file does not have it whole.
func (p pages) page(n int) []byte {
	if n < 1 || n > len(p)/pageSize {
		return nil
	}
	return p[(n-1)*pageSize : n*pageSize]
}

// undone puts the pages back that a rollback journal holds (3, the rollback journal): the file of a program that died
// while it wrote is then as it was before. A page whose checksum differs was not written to its end, and ends it.
func (p pages) undone(journal []byte) pages {
	const magic = "\xd9\xd5\x05\xf9\x20\xa1\x63\xd7"
	done := slices.Clone(p)
	for at := 0; at+28 <= len(journal) && string(journal[at:at+8]) == magic; {
		field := func(i int) int { return int(binary.BigEndian.Uint32(journal[at+8+4*i:])) }
		count, nonce, before, sector := field(0), uint32(field(1)), field(2), field(3)
		if sector < 32 || sector > 1<<16 || field(4) != pageSize {
			return done
		}
		if at == 0 && before <= p.count() {
			done = done[:min(len(done), before*pageSize)]
		}
		at += sector
		for ; count > 0 && at+pageSize+8 <= len(journal); count-- {
			n, page := int(binary.BigEndian.Uint32(journal[at:])), journal[at+4:at+4+pageSize]
			sum := nonce
			for i := pageSize - 200; i > 0; i -= 200 {
				sum += uint32(page[i])
			}
			if sum != binary.BigEndian.Uint32(journal[at+4+pageSize:]) {
				return done
			}
			copy(done.page(n), page)
			at += pageSize + 8
		}
		at = (at + sector - 1) / sector * sector
	}
	return done
}

// storedRow is one row as a page holds it: nil, int64, float64, string and []byte.
type storedRow struct {
	id     int64 // of a table with row numbers, else 0
	values []any
}

var errPage = errors.New("not readable")

// head is where the header of a page begins, and its kind.
func head(n int, page []byte) (at int, kind byte) {
	if n == 1 {
		at = 100 // 1.3, the database header
	}
	return at, page[at]
}

// rows reads the rows of one page. lost counts the cells that can't be read.
func (p pages) rows(n int) (rows []storedRow, lost int) {
	page := p.page(n)
	if page == nil {
		return nil, 0
	}
	at, kind := head(n, page)
	pointers := at + 8
	switch kind {
	case leafTable, leafIndex:
	case interiorIndex:
		pointers = at + 12
	default:
		return nil, 0
	}
	count := int(binary.BigEndian.Uint16(page[at+3:]))
	if pointers+2*count > pageSize {
		return nil, 0
	}
	for i := range count {
		cell := int(binary.BigEndian.Uint16(page[pointers+2*i:]))
		row, err := p.cell(page, kind, cell, pointers+2*count)
		if err != nil {
			lost++
			continue
		}
		rows = append(rows, row)
	}
	return rows, lost
}

// cell reads one cell (1.6, B-tree cell formats).
func (p pages) cell(page []byte, kind byte, at, least int) (row storedRow, err error) {
	if at < least || at >= pageSize {
		return row, errPage
	}
	rest := page[at:]
	if kind == interiorIndex {
		if len(rest) < 4 {
			return row, errPage
		}
		rest = rest[4:]
	}
	size, rest, err := varint(rest)
	if err != nil || size < 1 || size > int64(len(p)) {
		return row, errPage
	}
	largest := pageSize - 35
	if kind == leafTable {
		if row.id, rest, err = varint(rest); err != nil {
			return row, err
		}
	} else {
		largest = (pageSize-12)*64/255 - 23
	}
	payload, err := p.payload(rest, int(size), largest)
	if err != nil {
		return row, err
	}
	row.values, err = record(payload)
	return row, err
}

// payload collects the bytes of a cell, with those on its overflow pages (1.7).
func (p pages) payload(rest []byte, size, largest int) ([]byte, error) {
	if size <= largest {
		if len(rest) < size {
			return nil, errPage
		}
		return rest[:size], nil
	}
	const smallest = (pageSize-12)*32/255 - 23
	local := smallest + (size-smallest)%(pageSize-4)
	if local > largest {
		local = smallest
	}
	if len(rest) < local+4 {
		return nil, errPage
	}
	payload := append(make([]byte, 0, size), rest[:local]...)
	next := int(binary.BigEndian.Uint32(rest[local:]))
	for len(payload) < size {
		page := p.page(next)
		if page == nil {
			return nil, errPage
		}
		payload = append(payload, page[4:min(pageSize, 4+size-len(payload))]...)
		next = int(binary.BigEndian.Uint32(page))
	}
	return payload, nil
}

// varint is a number of one to nine bytes (1.6).
func varint(b []byte) (v int64, rest []byte, err error) {
	for i := range min(len(b), 9) {
		if i == 8 {
			return v<<8 | int64(b[8]), b[9:], nil
		}
		v = v<<7 | int64(b[i]&0x7F)
		if b[i] < 0x80 {
			return v, b[i+1:], nil
		}
	}
	return 0, nil, errPage
}

// mostColumns is more than any table of ours has.
const mostColumns = 64

// record reads the values of a row (2.1, record format). Its header and its values must fill it exactly.
func record(b []byte) (values []any, err error) {
	length, rest, err := varint(b)
	if err != nil || length < 1 || length > int64(len(b)) || len(b)-len(rest) > int(length) {
		return nil, errPage
	}
	types, body := b[len(b)-len(rest):length], b[length:]
	for len(types) > 0 {
		var t int64
		if t, types, err = varint(types); err != nil || len(values) == mostColumns {
			return nil, errPage
		}
		var v any
		if v, body, err = value(t, body); err != nil {
			return nil, err
		}
		values = append(values, v)
	}
	if len(body) > 0 {
		return nil, errPage
	}
	return values, nil
}

// value reads one value by its serial type (2.1).
func value(t int64, body []byte) (v any, rest []byte, err error) {
	sizes := [...]int64{0, 1, 2, 3, 4, 6, 8, 8, 0, 0}
	size := (t - 12) / 2
	switch {
	case t < 0, t == 10, t == 11:
		return nil, nil, errPage
	case t < 10:
		size = sizes[t]
	}
	if size > int64(len(body)) {
		return nil, nil, errPage
	}
	b, rest := body[:size], body[size:]
	switch {
	case t == 0:
		return nil, rest, nil
	case t == 7:
		return math.Float64frombits(binary.BigEndian.Uint64(b)), rest, nil
	case t == 8, t == 9:
		return t - 8, rest, nil
	case t >= 13 && t%2 == 1:
		return string(b), rest, nil
	case t >= 12:
		return append([]byte{}, b...), rest, nil
	}
	n := int64(int8(b[0]))
	for _, x := range b[1:] {
		n = n<<8 | int64(x)
	}
	return n, rest, nil
}

// tree collects the pages beneath a root into found, which names each page once.
func (p pages) tree(root int, found func(page int) bool) {
	page := p.page(root)
	if page == nil || !found(root) {
		return
	}
	at, kind := head(root, page)
	if kind != interiorIndex && kind != interiorTable {
		return
	}
	count := int(binary.BigEndian.Uint16(page[at+3:]))
	for i := range min(count, (pageSize-at-12)/2) {
		if cell := int(binary.BigEndian.Uint16(page[at+12+2*i:])); cell <= pageSize-4 {
			p.tree(int(binary.BigEndian.Uint32(page[cell:])), found)
		}
	}
	p.tree(int(binary.BigEndian.Uint32(page[at+8:])), found)
}
