package main

import (
	"archive/tar"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"slices"
	"strings"
)

// kernelPackage is the package that always depends on Debian 12's newest 6.12 kernel. It comes with the security
// archive; the ordinary 6.1 kernel has no can327.
const kernelPackage = "linux-image-6.12-amd64"

// labModules are the kernel's CAN parts that the lab loads, in this order. The last two drive the machine's two CAN
// controllers.
func labModules() []string {
	return []string{"can", "can-raw", "can-isotp", "can-dev", "vcan", "slcan", "can327", "sja1000", "kvaser_pci"}
}

// kernel is an unpacked kernel with the modules of the lab.
type kernel struct{ dir string }

func (k kernel) image() string             { return filepath.Join(k.dir, "vmlinuz") }
func (k kernel) module(name string) string { return filepath.Join(k.dir, "modules", name+".ko") }

func (k kernel) complete() bool {
	wanted := []string{k.image()}
	for _, m := range labModules() {
		wanted = append(wanted, k.module(m))
	}
	return !slices.ContainsFunc(wanted, func(file string) bool {
		_, err := os.Stat(file)
		return err != nil
	})
}

// findKernel returns the kernel in the cache, or downloads and unpacks it there. It is never installed.
func (j *job) findKernel(ctx context.Context) (kernel, error) {
	dir, err := j.folder("kernel")
	if err != nil {
		return kernel{}, err
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return kernel{}, err
	}
	for _, e := range slices.Backward(entries) {
		if k := (kernel{filepath.Join(dir, e.Name())}); strings.HasPrefix(e.Name(), "linux-image-") && k.complete() {
			return k, nil
		}
	}
	if _, err := exec.LookPath("apt-get"); err != nil {
		return kernel{}, errors.New("the kernel lab takes its kernel from Debian's archive, and there is no apt-get here")
	}
	name, deb, err := j.downloadKernel(ctx, dir)
	if err != nil {
		return kernel{}, fmt.Errorf("fetching %s: %w", kernelPackage, err)
	}
	defer os.RemoveAll(filepath.Dir(deb))
	k := kernel{filepath.Join(dir, name)}
	if err := j.unpackKernel(ctx, deb, k); err != nil {
		return kernel{}, fmt.Errorf("unpacking %s: %w", name, err)
	}
	return k, nil
}

// downloadKernel fetches the package. Lists of packages that are missing or too old are read anew once.
func (j *job) downloadKernel(ctx context.Context, dir string) (name, deb string, err error) {
	into, err := os.MkdirTemp(dir, "download-")
	if err != nil {
		return "", "", err
	}
	fetch := func() error {
		text, err := j.output(ctx, []string{"LC_ALL=C"}, "apt-cache", "depends", kernelPackage)
		if err != nil {
			return err
		}
		if name = dependency(text); name == "" {
			return fmt.Errorf("apt knows no %s; it is in Debian 12's security archive", kernelPackage)
		}
		c := j.command(ctx, []string{"LC_ALL=C"}, "apt-get", "download", name)
		c.Dir = into
		said, err := c.CombinedOutput()
		if err != nil {
			return fmt.Errorf("apt-get download %s: %w\n%s", name, err, lastLines(string(said), 5))
		}
		return nil
	}
	if err = fetch(); err != nil && ctx.Err() == nil {
		root, e := asRoot()
		if e == nil {
			e = j.privileged(ctx, root, []string{"apt-get", "update"})
		}
		if again := fetch(); again != nil {
			err = errors.Join(again, e)
		} else {
			err = nil
		}
	}
	found, _ := filepath.Glob(filepath.Join(into, "*.deb"))
	if err == nil && len(found) != 1 {
		err = fmt.Errorf("%d packages came down instead of one", len(found))
	}
	if err != nil {
		return "", "", errors.Join(err, os.RemoveAll(into))
	}
	return name, found[0], nil
}

// dependency reads the first kernel that `apt-cache depends` names.
func dependency(text string) string {
	for line := range strings.Lines(text) {
		if name, ok := strings.CutPrefix(strings.TrimSpace(line), "Depends: linux-image-"); ok {
			return "linux-image-" + name
		}
	}
	return ""
}

// unpackKernel takes the kernel and the lab's modules out of the package. The folder appears only when all is in it.
func (j *job) unpackKernel(ctx context.Context, deb string, k kernel) error {
	draft := kernel{filepath.Join(filepath.Dir(deb), "unpacked")}
	if err := os.MkdirAll(filepath.Join(draft.dir, "modules"), 0o755); err != nil {
		return err
	}
	c := j.command(ctx, nil, "dpkg-deb", "--fsys-tarfile", deb)
	pipe, err := c.StdoutPipe()
	if err != nil {
		return err
	}
	if err := c.Start(); err != nil {
		return err
	}
	err = j.takeKernel(ctx, tar.NewReader(pipe), draft)
	if err == nil {
		_, err = io.Copy(io.Discard, pipe) // what stands behind the end of the archive
	} else {
		_ = c.Process.Kill()
	}
	if ended := c.Wait(); err == nil {
		err = ended
	}
	switch {
	case err != nil:
		return err
	case !draft.complete():
		return fmt.Errorf("the package lacks the kernel or one of %s", strings.Join(labModules(), ", "))
	}
	if err := os.RemoveAll(k.dir); err != nil {
		return err
	}
	return os.Rename(draft.dir, k.dir)
}

func (j *job) takeKernel(ctx context.Context, archive *tar.Reader, k kernel) error {
	for {
		h, err := archive.Next()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
		if h.Typeflag != tar.TypeReg {
			continue
		}
		base := path.Base(h.Name)
		if strings.HasPrefix(base, "vmlinuz-") {
			if err := writeFrom(k.image(), archive); err != nil {
				return err
			}
		}
		packed := strings.HasSuffix(base, ".ko.xz")
		name, isModule := strings.CutSuffix(strings.TrimSuffix(base, ".xz"), ".ko")
		if !isModule || !slices.Contains(labModules(), name) {
			continue
		}
		content := io.Reader(archive)
		if packed {
			if content, err = j.unxz(ctx, archive); err != nil {
				return fmt.Errorf("%s: %w", h.Name, err)
			}
		}
		if err := writeFrom(k.module(name), content); err != nil {
			return err
		}
	}
}

func (j *job) unxz(ctx context.Context, r io.Reader) (io.Reader, error) {
	c := j.command(ctx, nil, "xz", "-dc")
	c.Stdin = r
	var out, said bytes.Buffer
	c.Stdout, c.Stderr = &out, &said
	if err := c.Run(); err != nil {
		return nil, fmt.Errorf("xz: %w %s", err, said.String())
	}
	return &out, nil
}

func writeFrom(file string, r io.Reader) error {
	f, err := os.Create(file)
	if err != nil {
		return err
	}
	if _, err := io.Copy(f, r); err != nil {
		return errors.Join(err, f.Close())
	}
	return f.Close()
}
