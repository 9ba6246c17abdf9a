package look

import (
	"fyne.io/fyne/v2"
	"fyne.io/fyne/v2/container"
)

// stays is a part that can take over what a part with the same name, built anew, has to show. The part itself stays
// the same object: a press that began before the page was built anew still ends on it, and the keyboard stays.
type stays interface {
	Identified
	fyne.CanvasObject
	become(built fyne.CanvasObject) bool
}

// adopt puts the parts of an old tree in place of those with the same names in a new one.
func adopt(old, built fyne.CanvasObject) {
	had := map[string]stays{}
	walk(old, nil, func(o fyne.CanvasObject, _ *container.Scroll) bool {
		if p, ok := o.(stays); ok {
			had[p.ID()] = p
		}
		return true
	})
	if len(had) == 0 {
		return
	}
	walk(built, nil, func(o fyne.CanvasObject, _ *container.Scroll) bool {
		c, ok := o.(*fyne.Container)
		if !ok {
			return true
		}
		for i, x := range c.Objects {
			p, ok := x.(stays)
			if !ok || had[p.ID()] == nil {
				continue
			}
			if was := had[p.ID()]; was == p || was.become(x) {
				c.Objects[i] = was
				delete(had, p.ID())
			}
		}
		return true
	})
}

func (b *Button) become(built fyne.CanvasObject) bool {
	n, ok := built.(*Button)
	if !ok {
		return false
	}
	b.text, b.weight, b.small, b.chosen, b.flush, b.tapped = n.text, n.weight, n.small, n.chosen, n.flush, n.tapped
	b.Refresh()
	return true
}

func (c *Choice) become(built fyne.CanvasObject) bool {
	n, ok := built.(*Choice)
	if !ok {
		return false
	}
	c.content, c.selected, c.follow, c.least, c.name, c.tapped = n.content, n.selected, n.follow, n.least, n.name, n.tapped
	c.over = n.over
	c.Refresh()
	return true
}

func (s *Step) become(built fyne.CanvasObject) bool {
	n, ok := built.(*Step)
	if !ok {
		return false
	}
	s.number, s.progress, s.current, s.name, s.sub, s.tapped = n.number, n.progress, n.current, n.name, n.sub, n.tapped
	s.Refresh()
	return true
}

func (t *Tick) become(built fyne.CanvasObject) bool {
	n, ok := built.(*Tick)
	if !ok {
		return false
	}
	t.text, t.on, t.changed = n.text, n.on, n.changed
	t.Refresh()
	return true
}

func (r *Ribbon) become(built fyne.CanvasObject) bool {
	n, ok := built.(*Ribbon)
	if !ok {
		return false
	}
	r.id, r.bytes, r.spans, r.selected, r.choose = n.id, n.bytes, n.spans, n.selected, n.choose
	r.over = n.over
	r.Refresh()
	return true
}
