package gate

import (
	"testing"

	"readback/diag/link"
	"readback/diag/link/linktest"
)

// TestConforms: a gate is a Link like any other for requests that only look.
func TestConforms(t *testing.T) {
	linktest.ConformInBubble(t, func(testing.TB) (link.Link, linktest.Peer) {
		l, p := linktest.Memory()
		return New(l, Options{}), linktest.With(p, func(a *linktest.Abilities) { a.LongestRequest, a.Guarded = 7, true })
	})
}
