package simcar

import (
	"bytes"
	"hash/fnv"
	"math/rand/v2"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"readback/diag/link"
)

// Prank is a set of ways in which a car's answers go wrong.
type Prank uint16

const (
	Torn        Prank = 1 << iota // messages and frames end early, frames are missing, bytes of the serial line too
	Late                          // messages and frames come late, some long after anybody waits for them
	Doubled                       // messages and frames come twice
	Interleaved                   // frames of something else come between those of an answer, under its identifier
	Oversized                     // messages are longer than they may be, or say so; there are floods
	WrongID                       // under another identifier: somebody else's, or nobody's
	Replayed                      // what was sent before is sent again
	Lying                         // well formed and untrue

	AllPranks = Torn | Late | Doubled | Interleaved | Oversized | WrongID | Replayed | Lying
)

// Mischief makes a car go wrong, at every level at which it speaks: answers, frames, and the bytes of its serial adapter.
// It draws from a seed, separately for each module and for the line: a car that is asked the same does the same.
//
// It also keeps the book of what really happened, for whoever has to compare: every request that reached a module, what the
// module held then, and how the answer may have told something untrue about its codes that nobody could have noticed.
type Mischief struct {
	pranks Prank
	rate   float64
	seed   uint64
	awake  atomic.Bool

	mu       sync.Mutex
	plays    map[string]*prankster
	asked    []Asked
	newest   map[link.ID]int     // place in asked of the last request to each module, by its request identifier
	smudged  bool                // the line has garbled something since the last request
	answers  []link.ID           // identifiers under which the modules answer
	requests map[link.ID]link.ID // to those under which they are asked
}

// Asked is one request as a module took it, and what that module's memory held afterwards.
type Asked struct {
	At      time.Time
	Module  link.ID // its request identifier
	Request []byte
	Done    bool             // it was carried out
	Held    map[[3]byte]byte // code to status, behind the availability mask
	// Untrue are the falsified lists of codes with which it was answered, whole. They are well formed on the way: where one
	// stands alone, it can't be told from the truth.
	Untrue [][]byte
	// Garbled: while it was answered, frames or bytes went wrong in a way that may have made such a list of another.
	Garbled bool
}

// Doubtful tells whether the answer may have been falsified so that nobody could notice it.
func (a Asked) Doubtful() bool { return a.Garbled || len(a.Untrue) > 0 }

// prankster draws for one module or for the line.
type prankster struct {
	random *rand.Rand
	sent   [][]byte // messages, for saying them again
}

// NewMischief draws from pranks; rate, 0 to 1, is how likely each message goes wrong. Frames and bytes go wrong less often,
// as a message is made of many. It does nothing until it is woken.
func NewMischief(seed uint64, pranks Prank, rate float64) *Mischief {
	return &Mischief{pranks: pranks, rate: rate, seed: seed, plays: map[string]*prankster{}, newest: map[link.ID]int{}, requests: map[link.ID]link.ID{}}
}

// Wake lets it begin.
func (m *Mischief) Wake() { m.awake.Store(true) }

// Asked are the requests so far, in their order.
func (m *Mischief) Asked() []Asked {
	m.mu.Lock()
	defer m.mu.Unlock()
	return slices.Clone(m.asked)
}

// Suffer gives the car a mischief. It must be called before the car serves anybody.
func (c *Car) Suffer(m *Mischief) {
	c.mischief = m
	for _, mod := range c.modules {
		m.answers = append(m.answers, mod.spec.Answer)
		m.requests[mod.spec.Answer] = mod.spec.Request
	}
}

// play is the prankster of one module or of the line. m.mu is held.
func (m *Mischief) play(name string) *prankster {
	p := m.plays[name]
	if p == nil {
		h := fnv.New64a()
		h.Write([]byte(name))
		p = &prankster{random: rand.New(rand.NewPCG(m.seed, h.Sum64()))}
		m.plays[name] = p
	}
	return p
}

// draw picks one of the pranks, or none, with this likelihood of any.
func (m *Mischief) draw(p *prankster, likely float64, of Prank) Prank {
	of &= m.pranks
	if !m.awake.Load() || of == 0 || p.random.Float64() >= likely {
		return 0
	}
	var some []Prank
	for k := Prank(1); k < AllPranks; k <<= 1 {
		if of&k != 0 {
			some = append(some, k)
		}
	}
	return some[p.random.IntN(len(some))]
}

// deal lets a module deal with a request, or not, and spoils its replies. c.mu is held.
func (m *Mischief) deal(c *Car, mod *module, req []byte, functional bool) []reply {
	m.mu.Lock()
	defer m.mu.Unlock()
	p := m.play(mod.name)
	prank := m.draw(p, m.rate, Torn|Late|Doubled|Oversized|Replayed|Lying)
	idle := prank == Lying && req[0] == 0x14 && p.random.IntN(2) == 0
	var replies []reply
	if idle {
		replies = []reply{{millis(mod.spec.Delay), []byte{0x54}}} // agreed, and did nothing
	} else {
		replies = c.replies(mod, req, functional)
	}
	m.newest[mod.spec.Request] = len(m.asked)
	m.asked = append(m.asked, Asked{At: time.Now(), Module: mod.spec.Request, Request: bytes.Clone(req), Done: !idle, Held: mod.held(), Garbled: m.smudged})
	m.smudged = false
	if len(replies) == 0 {
		return nil
	}
	if !idle {
		replies = m.spoil(p, mod, req, replies, prank)
	}
	for _, r := range replies {
		p.sent = append(p.sent, r.data)
	}
	p.sent = p.sent[max(0, len(p.sent)-16):]
	return replies
}

// held are the codes of a module as it would list them.
func (m *module) held() map[[3]byte]byte {
	out := map[[3]byte]byte{}
	for _, t := range m.troubles {
		out[t.code] = byte(t.status) & byte(m.spec.Mask)
	}
	return out
}

// list tells whether a message is a list of codes: service 19 of ISO 14229-1, 18 and 13 of ISO 14230-3, 03, 07 and 0A of
// SAE J1979.
func list(msg []byte) bool {
	return len(msg) > 0 && bytes.IndexByte([]byte{0x59, 0x58, 0x53, 0x43, 0x47, 0x4A}, msg[0]) >= 0
}

func (m *Mischief) spoil(p *prankster, mod *module, req []byte, replies []reply, prank Prank) []reply {
	last := &replies[len(replies)-1]
	n := p.random.IntN
	switch prank {
	case Torn:
		last.data = bytes.Clone(last.data[:n(len(last.data))])
		m.untrue(mod, last.data)
		if len(last.data) == 0 {
			return replies[:len(replies)-1]
		}
	case Late:
		last.after += time.Duration(n([]int{100, 1500, 6000, 40000}[n(4)])) * time.Millisecond
	case Doubled:
		replies = append(replies, reply{last.after + millis(n(200)), bytes.Clone(last.data)})
	case Oversized:
		more := make([]byte, 1+n([]int{4, 60, 4000}[n(3)]))
		for i := range more {
			more[i] = byte(p.random.Uint32())
		}
		last.data = append(bytes.Clone(last.data), more...)
		m.untrue(mod, last.data)
	case Replayed:
		if len(p.sent) == 0 {
			return replies
		}
		old := p.sent[n(len(p.sent))]
		if !bytes.Equal(old, last.data) {
			m.untrue(mod, old)
		}
		again := reply{last.after, bytes.Clone(old)}
		if n(2) == 0 {
			return append(replies, again)
		}
		return slices.Insert(replies, len(replies)-1, again)
	case Lying:
		return m.lie(p, mod, req, replies)
	}
	return replies
}

// untrue notes that a message that falsifies a list of codes leaves a module.
func (m *Mischief) untrue(mod *module, msg []byte) {
	if list(msg) {
		a := &m.asked[m.newest[mod.spec.Request]]
		a.Untrue = append(a.Untrue, bytes.Clone(msg))
	}
}

// garbled notes that frames go wrong under a module's identifier, while its last request is answered.
func (m *Mischief) garbled(request link.ID) {
	if i, ok := m.newest[request]; ok {
		m.asked[i].Garbled = true
	}
}

// lie makes the last reply untrue, and well formed on the way.
func (m *Mischief) lie(p *prankster, mod *module, req []byte, replies []reply) []reply {
	last := &replies[len(replies)-1]
	n := p.random.IntN
	told := bytes.Clone(last.data)
	switch n(10) {
	case 0: // refuses what it has carried out
		told = []byte{0x7F, req[0], byte(p.random.Uint32())}
	case 1: // says nothing of what it has carried out
		return replies[:len(replies)-1]
	case 2: // answers another service
		told[0] = byte(p.random.Uint32())
	case 3: // refuses another service
		told = []byte{0x7F, byte(p.random.Uint32()), byte(p.random.Uint32())}
	case 4: // answers another identifier or sub-function
		if len(told) > 1 {
			told[1+n(len(told)-1)] ^= byte(1 + n(255))
		}
	case 5: // has no codes
		if len(told) > 3 && list(told) {
			told = told[:3]
		}
	case 6: // some bits
		for range 1 + n(4) {
			told[n(len(told))] ^= 1 << n(8)
		}
	case 7: // noise
		for i := range told {
			told[i] = byte(p.random.Uint32())
		}
	case 8: // is at work, again and again, and perhaps for ever
		var out []reply
		at, every := last.after, millis(1+n(5000))
		for range 1 + n(100) {
			out = append(out, reply{at, []byte{0x7F, req[0], nrcPending}})
			at += every
		}
		if n(2) == 0 {
			out = append(out, reply{at, told})
		}
		return out
	case 9: // is busy
		told = []byte{0x7F, req[0], nrcBusy}
	}
	if !bytes.Equal(told, last.data) {
		m.untrue(mod, told)
	}
	last.data = told
	return replies
}
