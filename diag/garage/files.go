package garage

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"time"
)

func exists(path string) bool {
	_, err := os.Lstat(path)
	return !errors.Is(err, fs.ErrNotExist)
}

// freeName is stem, or stem with a number where that, or a rollback journal of it, is there already.
func freeName(stem string) string {
	name := stem
	for n := 2; exists(name) || exists(name+"-journal"); n++ {
		name = fmt.Sprintf("%s-%d", stem, n)
	}
	return name
}

// stamp is this moment as part of a file's name.
func stamp() string { return time.Now().UTC().Format("20060102T150405Z") }

// workFolder makes a folder beside a store for what is not finished yet.
func workFolder(store, work string) (string, error) {
	return os.MkdirTemp(filepath.Dir(store), filepath.Base(store)+"."+work+"-*")
}

// dropLeftovers removes what programs that have died left unfinished beside a store. It is for a moment when no other
// program has the store open and none can open it.
func dropLeftovers(store string) {
	drop := func(folder string, begins ...string) {
		entries, err := os.ReadDir(folder)
		if err != nil {
			return // nothing is there, or it can't be asked: they are in nobody's way
		}
		for _, e := range entries {
			if slices.ContainsFunc(begins, func(begin string) bool { return strings.HasPrefix(e.Name(), begin) }) {
				os.RemoveAll(filepath.Join(folder, e.Name()))
			}
		}
	}
	base := filepath.Base(store)
	drop(filepath.Dir(store), base+".backing-up-", base+".restoring-", base+".importing-", base+".rescuing-")
	drop(recordingsOf(store), unfinishedRecording)
}

func hasDigest(path string, digest []byte) (bool, error) {
	f, err := os.Open(path)
	if err != nil {
		return false, err
	}
	defer f.Close()
	sum := sha256.New()
	if _, err := io.Copy(sum, f); err != nil {
		return false, err
	}
	return bytes.Equal(sum.Sum(nil), digest), nil
}

// syncFolder brings names in a folder to the disk. Windows has no such thing for folders.
func syncFolder(path string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}
