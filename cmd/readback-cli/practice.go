package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"strings"

	"readback/diag"
	"readback/diag/adapter"
	"readback/diag/simcar"
)

type practiceCmd struct {
	Serve    string `required:"" placeholder:"HOW" help:"serial or slcan (a pseudo terminal), tcp:PORT, slcan:tcp:PORT, or can:IFACE."`
	Scenario string `placeholder:"NAME|FILE" help:"Which scenario: a name, or a .json file."`
	Speed    int    `placeholder:"BIT/S" help:"With serial, slcan and tcp: how fast its line is. Without it the line takes no time."`
}

func (c *practiceCmd) Run(e *env) error {
	s, err := scenario(c.Scenario)
	if err != nil {
		return usage{err.Error()}
	}
	if c.Speed < 0 {
		return usage{fmt.Sprintf("--speed %d: a line has at least 1 bit/s", c.Speed)}
	}
	car := simcar.New(s)
	kind, rest, _ := strings.Cut(c.Serve, ":")
	switch kind {
	case "serial":
		err = c.serial(e, car)
	case "tcp":
		err = c.tcp(e, car, rest)
	case "slcan":
		err = c.slcan(e, car, rest)
	case "can":
		err = c.can(e, car, rest)
	default:
		err = c.wrong()
	}
	if errors.Is(err, context.Canceled) {
		return nil // told to stop
	}
	return err
}

func (c *practiceCmd) wrong() error {
	return usage{fmt.Sprintf("--serve %s: it takes serial, slcan, tcp:PORT, slcan:tcp:PORT or can:IFACE", c.Serve)}
}

func scenario(name string) (*simcar.Scenario, error) {
	if strings.HasSuffix(name, ".json") {
		return simcar.LoadFile(name)
	}
	s, err := simcar.Load(name)
	if err != nil {
		return nil, fmt.Errorf("%w; there are: %s", err, strings.Join(simcar.Names(), ", "))
	}
	return s, nil
}

// tell says where the practice car waits.
func (e *env) tell(place string) error {
	return e.printMaybe(map[string]any{"place": place, "practice": true},
		"PRACTICE car waits. In another terminal: readback-cli look --adapter "+place+"\nCtrl-C ends it.")
}

func (c *practiceCmd) serial(e *env, car *simcar.Car) error {
	master, path, err := simcar.OpenPTY()
	if err != nil {
		return err
	}
	if err := e.tell("serial:" + path); err != nil {
		return errors.Join(err, master.Close())
	}
	return car.ServeSerial(e.ctx, master, simcar.SerialOptions{BitRate: c.Speed})
}

// slcan is the practice car with an adapter of frames.
func (c *practiceCmd) slcan(e *env, car *simcar.Car, rest string) error {
	if port, ok := strings.CutPrefix(rest, "tcp:"); ok {
		ln, err := e.listen("slcan:tcp:", port)
		if err != nil {
			return err
		}
		return simcar.ServeSLCANOverTCP(e.ctx, ln, car, simcar.SLCANOptions{LineRate: c.Speed})
	}
	if rest != "" {
		return c.wrong()
	}
	master, path, err := simcar.OpenPTY()
	if err != nil {
		return err
	}
	if err := e.tell("slcan:" + path); err != nil {
		return errors.Join(err, master.Close())
	}
	return car.ServeSLCAN(e.ctx, master, simcar.SLCANOptions{LineRate: c.Speed})
}

// listen opens a port on this computer only: the practice car has nothing to say to a network.
func (e *env) listen(scheme, port string) (net.Listener, error) {
	ln, err := new(net.ListenConfig).Listen(e.ctx, "tcp", net.JoinHostPort("127.0.0.1", port))
	if err != nil {
		return nil, err
	}
	if err := e.tell(scheme + ln.Addr().String()); err != nil {
		return nil, errors.Join(err, ln.Close())
	}
	return ln, nil
}

func (c *practiceCmd) tcp(e *env, car *simcar.Car, port string) error {
	ln, err := e.listen("tcp:", port)
	if err != nil {
		return err
	}
	return simcar.ServeTCP(e.ctx, ln, car, simcar.SerialOptions{BitRate: c.Speed})
}

func (c *practiceCmd) can(e *env, car *simcar.Car, iface string) error {
	place := adapter.Place("can:" + iface)
	return diag.ServePractice(e.ctx, e.drivers, place, car, func() error { return e.tell(string(place)) })
}
