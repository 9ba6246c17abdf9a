package garage

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"runtime"
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
