package talk

// chunk is how many values are kept in one piece.
const chunk = 4096

// store is a list whose values are numbered from 1 for ever: the oldest can be forgotten, the others keep their numbers.
type store[T any] struct {
	pieces [][]T
	base   uint32 // number of the first value in pieces
	first  uint32 // number of the first value that is kept
	count  uint32 // values in pieces
	spare  [][]T  // pieces that have been forgotten, to be used again
}

// spares is how many pieces are kept to be used again.
const spares = 4

func (s *store[T]) init() { s.base, s.first = 1, 1 }

// next is the number that the next value gets.
func (s *store[T]) next() uint32 { return s.base + s.count }

func (s *store[T]) len() int { return int(s.next() - s.first) }

func (s *store[T]) has(n uint32) bool { return n >= s.first && n < s.next() }

func (s *store[T]) at(n uint32) *T {
	n -= s.base
	return &s.pieces[n/chunk][n%chunk]
}

func (s *store[T]) add(v T) uint32 {
	last := len(s.pieces) - 1
	if last < 0 || len(s.pieces[last]) == chunk {
		s.pieces = append(s.pieces, s.piece())
		last++
	}
	s.pieces[last] = append(s.pieces[last], v)
	s.count++
	return s.base + s.count - 1
}

func (s *store[T]) piece() []T {
	if n := len(s.spare); n > 0 {
		p := s.spare[n-1]
		s.spare = s.spare[:n-1]
		return p
	}
	return make([]T, 0, chunk)
}

// forget drops all values with numbers below n.
func (s *store[T]) forget(n uint32) {
	s.first = n
	full := int((n - s.base) / chunk)
	if full == 0 {
		return
	}
	for _, p := range s.pieces[:min(full, spares-len(s.spare))] {
		s.spare = append(s.spare, p[:0])
	}
	kept := copy(s.pieces, s.pieces[full:])
	clear(s.pieces[kept:])
	s.pieces = s.pieces[:kept]
	s.base += uint32(full) * chunk
	s.count -= uint32(full) * chunk
}
