package socketcan

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"

	"readback/diag/adapter"
	"readback/diag/bus"
)

// Ranks of a row; the likeliest has the lowest.
const (
	rankUp      = 5
	rankDown    = 30
	rankVirtual = 60
)

const sysNet = "/sys/class/net"

// Find lists the CAN interfaces, and for one that is down the command that brings it up.
func (driver) Find(ctx context.Context) ([]adapter.Found, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	r, err := dialRoute()
	if err != nil {
		return list(sysNet, func(string) string { return "" })
	}
	defer r.close()
	return list(sysNet, func(name string) string {
		l, err := r.byName(name)
		if err != nil {
			return ""
		}
		return l.kind
	})
}

// list reads a folder of interfaces as /sys/class/net lays it out. kind tells an interface's kind, "" when not known.
func list(root string, kind func(name string) string) ([]adapter.Found, error) {
	dirs, err := os.ReadDir(root)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("socketcan: listing interfaces: %w", err)
	}
	var found []adapter.Found
	for _, d := range dirs {
		name := d.Name()
		if typ, err := number(root, name, "type"); err != nil || typ != unix.ARPHRD_CAN {
			continue
		}
		flags, err := number(root, name, "flags")
		if err != nil {
			continue // removed this moment
		}
		found = append(found, row(name, kind(name), flags&unix.IFF_UP != 0))
	}
	slices.SortStableFunc(found, func(a, b adapter.Found) int {
		return cmp.Or(cmp.Compare(a.Rank, b.Rank), cmp.Compare(a.Place, b.Place))
	})
	return found, nil
}

func row(name, kind string, up bool) adapter.Found {
	f := adapter.Found{Place: adapter.Place(Scheme + ":" + name), Name: "CAN interface " + name, Ready: up, Rank: rankUp, Note: "up"}
	if !up {
		f.Rank = rankDown
		f.Note = "down; this brings it up: " + bringUp(name, kind)
		f.Fix = bringUp(name, kind)
	}
	if virtual(kind) {
		f.Name, f.Rank = "Virtual CAN interface "+name, rankVirtual
	}
	return f
}

// virtual kinds have no controller and no bit rate.
func virtual(kind string) bool { return kind == "vcan" || kind == "vxcan" }

// bringUp is the command for an interface of this kind, at the bit rate of most cars.
func bringUp(name, kind string) string {
	if virtual(kind) {
		return "sudo ip link set " + name + " up"
	}
	return "sudo ip link set " + name + " up type can bitrate 500000"
}

func number(root, name, file string) (int, error) {
	b, err := os.ReadFile(filepath.Join(root, name, file))
	if err != nil {
		return 0, err
	}
	v, err := strconv.ParseInt(strings.TrimSpace(string(b)), 0, 32)
	return int(v), err
}

func (driver) Open(ctx context.Context, p adapter.Place, _ adapter.Options) (adapter.Connection, error) {
	scheme, name, err := p.Split()
	switch {
	case err != nil:
		return nil, err
	case scheme != Scheme:
		return nil, fmt.Errorf("%w: %q", adapter.ErrUnknownPlace, scheme)
	}
	b, err := Open(ctx, name, Options{})
	if err != nil {
		return nil, &adapter.OpenError{Place: p, Step: adapter.StepPort, Cause: err}
	}
	l, err := b.route.byIndex(b.index)
	if err != nil {
		return nil, &adapter.OpenError{Place: p, Step: adapter.StepPort, Cause: errors.Join(err, b.Close())}
	}
	return &connection{b: b, l: l}, nil
}

type connection struct {
	b *Bus
	l linkInfo
}

// Recover takes the interface down and up again, which every driver of the kernel understands and which keeps its bit rate.
func (c *connection) Recover() string {
	return "sudo ip link set " + c.b.name + " down && sudo ip link set " + c.b.name + " up"
}

func (c *connection) Bus() bus.Bus { return c.b }
func (c *connection) Close() error { return c.b.Close() }

func (c *connection) Abilities() adapter.Abilities {
	a := adapter.Abilities{
		Name:     "CAN interface " + c.b.name,
		Raw:      true,
		Parallel: 8,
		Exact:    true,
		Wide:     true,
		Listens:  true,
		BitRate:  c.l.bitRate,
		Version:  c.l.kind,
		Limits:   []string{"It can't measure the 12 V supply."},
	}
	if c.l.bitRate > 0 {
		a.Protocol = fmt.Sprintf("CAN, %d kbit/s", c.l.bitRate/1000)
	}
	if c.l.listenOnly {
		a.Limits = append(a.Limits, "It is set to listen only: nothing can be sent.")
	}
	return a
}
