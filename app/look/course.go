package look

import (
	"math"
	"sort"
	"time"
)

// Course is how one value went over time, in bounded memory: each of its levels holds the newest stretches of one
// length, and a stretch keeps its lowest and its highest reading, so that no spike is lost. The finest level goes back
// some 40 seconds, the coarsest half a day. The zero value is ready.
type Course struct {
	levels [courseLevels]courseLevel
	broken bool // nothing was told since the newest reading
}

const (
	courseLevels = 6
	courseHeld   = 4096                  // stretches in a level
	courseStep   = 10 * time.Millisecond // of the finest level; each further one is courseWiden times as long
	courseWiden  = 4
)

// courseLevel is a ring of stretches.
type courseLevel struct {
	held []stretch
	head int // the oldest, once it is full
}

// stretch is what was told within one length of time.
type stretch struct {
	at                     int64 // number of the stretch since 1970
	first, last, low, high float64
	apart                  bool // it does not go on from the stretch before
}

func courseLength(level int) time.Duration {
	d := courseStep
	for range level {
		d *= courseWiden
	}
	return d
}

func (l *courseLevel) len() int { return len(l.held) }

// at is a stretch, the oldest first.
func (l *courseLevel) at(i int) *stretch {
	if i += l.head; i >= len(l.held) {
		i -= len(l.held)
	}
	return &l.held[i]
}

func (l *courseLevel) add(s stretch) {
	if n := len(l.held); n < courseHeld {
		if n == cap(l.held) { // append would take more than can be used
			l.held = append(make([]stretch, 0, min(courseHeld, max(64, 2*n))), l.held...)
		}
		l.held = append(l.held, s)
		return
	}
	l.held[l.head] = s
	l.head = (l.head + 1) % courseHeld
}

// Add appends a reading. One that is older than the newest counts as told at the same time. What is no number is a
// gap.
func (c *Course) Add(at time.Time, v float64) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		c.Break()
		return
	}
	for i := range c.levels {
		l, n := &c.levels[i], at.UnixNano()/int64(courseLength(i))
		if l.len() > 0 {
			newest := l.at(l.len() - 1)
			if n <= newest.at {
				newest.last, newest.low, newest.high = v, min(newest.low, v), max(newest.high, v)
				continue
			}
		}
		l.add(stretch{at: n, first: v, last: v, low: v, high: v, apart: c.broken})
	}
	c.broken = false
}

// Break makes a gap: the next reading does not go on from the one before.
func (c *Course) Break() { c.broken = true }

// Empty reports that nothing was told yet.
func (c *Course) Empty() bool { return c.levels[0].len() == 0 }

// Began is when the oldest reading that is still held was told; the zero time when nothing was.
func (c *Course) Began() time.Time {
	l := &c.levels[courseLevels-1]
	if l.len() == 0 {
		return time.Time{}
	}
	fine := c.levels[0].at(0)
	if !c.full(0) {
		return time.Unix(0, fine.at*int64(courseStep))
	}
	return time.Unix(0, l.at(0).at*int64(courseLength(courseLevels-1)))
}

// Newest is when the newest reading was told; the zero time when nothing was.
func (c *Course) Newest() time.Time {
	l := &c.levels[0]
	if l.len() == 0 {
		return time.Time{}
	}
	return time.Unix(0, (l.at(l.len()-1).at+1)*int64(courseStep))
}

// full reports that a level has begun to forget.
func (c *Course) full(level int) bool { return c.levels[level].len() == courseHeld }

// finest is the finest level that goes back to a time.
func (c *Course) finest(from time.Time) int {
	for i := range courseLevels - 1 {
		l := &c.levels[i]
		if !c.full(i) || l.at(0).at*int64(courseLength(i)) <= from.UnixNano() {
			return i
		}
	}
	return courseLevels - 1
}

// after is the first stretch of a level that ends after a time.
func (c *Course) after(level int, at time.Time) int {
	l, n := &c.levels[level], at.UnixNano()/int64(courseLength(level))
	return sort.Search(l.len(), func(i int) bool { return l.at(i).at >= n })
}

// longestStretch is how long a reading counts when no other one follows it.
const longestStretch = 3 * time.Second

// Told is what was told at a time: the lowest and the highest reading of the finest stretch that is held. ok is false
// where nothing was told about then.
func (c *Course) Told(at time.Time) (low, high float64, ok bool) {
	level := c.finest(at)
	l, d := &c.levels[level], int64(courseLength(level))
	i := c.after(level, at)
	if i < l.len() && l.at(i).at == at.UnixNano()/d {
		return l.at(i).low, l.at(i).high, true
	}
	if i == 0 || i < l.len() && l.at(i).apart { // before the first one, or in a gap
		return 0, 0, false
	}
	s := l.at(i - 1)
	if i == l.len() && (c.broken || at.UnixNano()-(s.at+1)*d > int64(longestStretch)) {
		return 0, 0, false
	}
	return s.last, s.last, true
}

// Bounds are the lowest and the highest reading between two times; ok is false when there was none.
func (c *Course) Bounds(from, to time.Time) (low, high float64, ok bool) {
	level := c.finest(from)
	l, end := &c.levels[level], to.UnixNano()/int64(courseLength(level))
	for i := max(0, c.after(level, from)-1); i < l.len() && l.at(i).at <= end; i++ {
		s := l.at(i)
		if !ok {
			low, high, ok = s.low, s.high, true
			continue
		}
		low, high = min(low, s.low), max(high, s.high)
	}
	return low, high, ok
}
