package trace

// ring keeps the newest limit values. It grows as it fills and allocates nothing once it is full.
type ring[T any] struct {
	limit int
	buf   []T
	first int // place of the oldest value
	n     int // values held
}

func (r *ring[T]) len() int { return r.n }

func (r *ring[T]) at(i int) T { return r.buf[(r.first+i)%len(r.buf)] }

// push adds a value. When the ring is full the oldest one goes, and is returned with true.
func (r *ring[T]) push(v T) (old T, full bool) {
	if r.n == len(r.buf) && r.n < r.limit {
		r.grow()
	}
	if r.n == r.limit {
		old, full = r.pop(), true
	}
	r.buf[(r.first+r.n)%len(r.buf)] = v
	r.n++
	return old, full
}

// pop takes the oldest value out; there must be one.
func (r *ring[T]) pop() T {
	var none T
	old := r.buf[r.first]
	r.buf[r.first] = none
	r.first = (r.first + 1) % len(r.buf)
	r.n--
	return old
}

func (r *ring[T]) grow() {
	bigger := make([]T, min(max(2*len(r.buf), 256), r.limit))
	for i := range r.n {
		bigger[i] = r.at(i)
	}
	r.buf, r.first = bigger, 0
}

// after are the values for which newer holds; it must hold for all values behind one for which it does.
func (r *ring[T]) after(newer func(T) bool) []T {
	lo, hi := 0, r.n
	for lo < hi {
		mid := (lo + hi) / 2
		if newer(r.at(mid)) {
			hi = mid
		} else {
			lo = mid + 1
		}
	}
	out := make([]T, 0, r.n-lo)
	for i := lo; i < r.n; i++ {
		out = append(out, r.at(i))
	}
	return out
}
