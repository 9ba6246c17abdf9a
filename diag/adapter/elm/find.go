package elm

import (
	"cmp"
	"context"
	"errors"
	"strings"

	"readback/diag/link"
)

// harmless is service 01 00, which parameters a module knows; the adapter's own search uses it too.
const harmless = "0100"

// findProtocol finds the car's bus within searchLimit. A bus on which nobody answers is a bus: battery cars are often
// silent to 01 00. Each step is told before it is taken. The error has what the adapter said first: its own search says
// more of a car without a bus than a single protocol does.
func (c *conversation) findProtocol(ctx context.Context, tell func(string)) error {
	within, cancel := context.WithTimeout(ctx, searchLimit)
	defer cancel()
	err := c.findWithin(within, tell)
	if errors.Is(err, context.DeadlineExceeded) && ctx.Err() == nil {
		return &link.AdapterError{Op: "looking for the car's bus", Text: "no end after " + searchLimit.String()}
	}
	return err
}

// candidates are the protocols in the order in which they are tried one by one: CAN first, then the older lines from the
// latest to the oldest.
const candidates = "678954321"

func (c *conversation) findWithin(ctx context.Context, tell func(string)) error {
	said := ""
	tell("The adapter looks for the car's bus by itself.")
	found, text, err := c.search(ctx)
	if err != nil || found {
		return err
	}
	said = text
	for _, n := range []byte(candidates) {
		p := protocols[n]
		tell("Trying " + p.String() + ".")
		ok, err := c.try(ctx, "ATSP"+string(n))
		if err != nil {
			return err
		}
		if !ok {
			continue
		}
		lines, err := c.w.command(ctx, harmless, tryTime)
		if err != nil {
			return err
		}
		alive, text := c.alive(lines, p)
		if alive {
			c.use(p)
			c.answered = text == ""
			return nil
		}
		if said == "" {
			said = text
		}
	}
	return &link.AdapterError{Op: "looking for the car's bus", Text: cmp.Or(said, "no answer")}
}

// use takes a protocol as found. It begins with its own header, and on a serial line with the conversation that the
// question has opened.
func (c *conversation) use(p protocol) {
	c.p = p
	c.set = map[string]string{"protocol": "ATSP" + string(p.number)}
	if p.header != nil {
		c.set["started"] = startedAll
	}
}

// search lets the adapter look for the protocol by itself, and then fixes it.
func (c *conversation) search(ctx context.Context) (found bool, text string, err error) {
	if ok, err := c.try(ctx, "ATSP0"); err != nil || !ok {
		return false, "", err
	}
	lines, err := c.w.command(ctx, harmless, searchTime)
	if err != nil {
		return false, "", err
	}
	for _, l := range lines {
		if meaningOf(l) == trouble {
			return false, l, nil
		}
	}
	number, err := c.w.command(ctx, "ATDPN", commandTime)
	if err != nil || len(number) == 0 {
		return false, "", err
	}
	n := strings.TrimPrefix(squeeze(number[len(number)-1]), "A")
	if len(n) != 1 || n == "0" {
		return false, "", nil
	}
	p, ok := protocols[n[0]]
	if !ok {
		return false, "", nil
	}
	alive, text := c.alive(lines, p)
	if !alive {
		return false, text, nil
	}
	c.answered = text == ""
	if ok, err := c.try(ctx, "ATSP"+n); err != nil || !ok {
		return false, "", err
	}
	c.use(p)
	delete(c.set, "started") // setting the protocol has closed the conversation
	return true, "", nil
}

// alive: a module answered, or at least the request was taken by the bus (NO DATA). On SAE J1850 nobody has to take it,
// so that NO DATA says nothing there.
func (c *conversation) alive(lines []string, p protocol) (alive bool, text string) {
	for _, l := range lines {
		switch m := meaningOf(l); m {
		case nothing:
			return p.header == nil || p.header.starts != "", l
		case trouble, lost, notKnown, stopped:
			return false, l
		case plain, working:
			if p.header != nil {
				if known, sums := p.header.recognise(l); known {
					c.sums = sums
					return true, ""
				}
				continue
			}
			if _, err := parseFrame(l, p.wide); err == nil {
				return true, ""
			}
		}
	}
	return false, ""
}
