package garage

import (
	"context"
	"crypto/rand"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// A change is in the air between the moment its row is written as planned and the moment its outcome is written. When
// the program dies in between, the row must become "unknown" at the next start; but a second program that opens the
// store while the first is still waiting for the answer must leave the row alone.
//
// So every open Store holds a lease: a file beside the store with a random name, locked with the system's own file
// lock. The row names the lease (column holder). A system lock can't be faked or forgotten: it ends with its process,
// however that dies, it survives a suspended computer, and unlike a process number it is never given to somebody else.
// A planned row whose lease can be locked by another program, or whose file is gone, belongs to nobody alive.
//
// Leases are made, and dead ones removed, only while the store's opening lock is held, so that nobody takes a lease
// for dead between its making and its locking.
type lease struct {
	token string
	lock  *fileLock
}

var errLocked = errors.New("locked by another program")

func leasePath(store, token string) string { return store + "-open-" + token }

func takeLease(store string) (*lease, error) {
	token := rand.Text()
	lock, err := tryLock(leasePath(store, token))
	if err != nil {
		return nil, err
	}
	return &lease{token: token, lock: lock}, nil
}

func (l *lease) release() { l.lock.remove() }

// aliveLease tells whether a living program holds the lease. When the file can't even be asked it counts as alive:
// the row then stays planned, and is settled at a later start.
func aliveLease(store, token string) bool {
	path := leasePath(store, token)
	if !exists(path) {
		return false
	}
	lock, err := tryLock(path)
	if err != nil {
		return true
	}
	lock.release()
	return false
}

// leases are the tokens of all leases of a store, alive or dead.
func leases(store string) []string {
	entries, err := os.ReadDir(filepath.Dir(store))
	if err != nil {
		return nil
	}
	var tokens []string
	for _, e := range entries {
		if token, ok := strings.CutPrefix(e.Name(), filepath.Base(leasePath(store, ""))); ok {
			tokens = append(tokens, token)
		}
	}
	return tokens
}

func aliveLeases(store string) []string {
	var alive []string
	for _, token := range leases(store) {
		if aliveLease(store, token) {
			alive = append(alive, token)
		}
	}
	return alive
}

func dropDeadLeases(store string) {
	for _, token := range leases(store) {
		if lock, err := tryLock(leasePath(store, token)); err == nil {
			lock.remove()
		}
	}
}

// fileLock is an exclusive lock on a whole file, held until it is released or the process ends.
type fileLock struct{ f *os.File }

// tryLock locks the file at path, which it makes if need be. The error is errLocked when somebody else holds it.
func tryLock(path string) (*fileLock, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, err
	}
	if err := lockFile(f); err != nil {
		f.Close()
		return nil, &os.PathError{Op: "lock", Path: path, Err: err}
	}
	return &fileLock{f}, nil
}

// waitLock is tryLock with patience.
func waitLock(ctx context.Context, path string, patience time.Duration) (*fileLock, error) {
	ctx, cancel := context.WithTimeoutCause(ctx, patience, errLocked)
	defer cancel()
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for {
		lock, err := tryLock(path)
		if err == nil || !errors.Is(err, errLocked) {
			return lock, err
		}
		select {
		case <-ctx.Done():
			return nil, context.Cause(ctx)
		case <-tick.C:
		}
	}
}

func (l *fileLock) release() { l.f.Close() }

// remove releases the lock and removes its file. Where the system allows it the file goes first, so that nobody finds
// it unlocked; the other order is harmless for a lease, whose name is never used again.
func (l *fileLock) remove() {
	gone := os.Remove(l.f.Name()) == nil
	l.f.Close()
	if !gone {
		os.Remove(l.f.Name())
	}
}
