package main

import (
	"bytes"
	"context"
	_ "embed"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"
)

const qemu = "qemu-system-x86_64"

const (
	guestTestLimit = 200 * time.Second // in the guest's time, which runs ahead of ours while the guest waits
	guestLimit     = 480 * time.Second // in ours, for the whole machine
)

//go:embed guest-init.sh
var guestInit []byte

// labTests boots one machine for each package.
func labTests(ctx context.Context, j *job) tally { return j.lab(ctx, nil) }

// labChore is `dev lab`: the lab's output goes to the terminal as it comes.
func labChore(ctx context.Context, p *project, args []string) error {
	if err := p.install(ctx, labNeeds()); err != nil {
		return err
	}
	t := (&job{project: p, log: p.out}).lab(ctx, args)
	for _, f := range t.failed {
		fmt.Fprintf(p.out, "failed: %s\n%s\n", f.what, indented(lastLines(f.text, 40)))
	}
	fmt.Fprintf(p.out, "%d passed, %d failed\n", t.passed, len(t.failed))
	if len(t.failed) > 0 {
		return &exit{code: exitFailed}
	}
	return nil
}

// lab runs the kernel tests of these packages, or of all that have any.
func (j *job) lab(ctx context.Context, packages []string) tally {
	if len(packages) == 0 {
		tests, err := j.kernelTests()
		if err == nil && len(tests) == 0 {
			err = errors.New("no package has a test function whose name ends in Kernel")
		}
		if err != nil {
			return check("finding the kernel tests", err, "")
		}
		packages = packagesOf(tests)
	}
	k, err := j.findKernel(ctx)
	if err != nil {
		return check("the lab's kernel", err, "")
	}
	var sum tally
	for _, pkg := range packages {
		sum.add(j.labPackage(ctx, k, pkg))
	}
	return sum
}

// labPackage runs the kernel tests of one package in a machine of its own.
func (j *job) labPackage(ctx context.Context, k kernel, pkg string) tally {
	path, said, err := j.guest(ctx, k, pkg, "-test.v=test2json", "-test.run=Kernel$", "-test.paniconexit0")
	if path == "" {
		return check("the lab for "+pkg, err, said.String())
	}
	return j.readGuest(ctx, path, said, err)
}

// guest runs a package's test program with these words in a machine of its own and returns what it said; path is the
// package's import path, "" when the machine could not be started.
func (j *job) guest(ctx context.Context, k kernel, pkg string, words ...string) (path string, said *bytes.Buffer, err error) {
	said = &bytes.Buffer{}
	dir, err := os.MkdirTemp("", "readback-lab-")
	if err != nil {
		return "", said, err
	}
	defer os.RemoveAll(dir)
	path, folder, err := j.locate(ctx, pkg)
	if err != nil {
		return "", said, err
	}
	program := filepath.Join(dir, "test")
	c := j.command(ctx, []string{"CGO_ENABLED=0", "GOOS=linux", "GOARCH=amd64"}, "go", "test", "-c", "-o", program, pkg)
	c.Stdout, c.Stderr = said, said
	if err := c.Run(); err != nil {
		return "", said, fmt.Errorf("building the kernel tests: %w", err)
	}
	disk := filepath.Join(dir, "initramfs")
	if err := writeDisk(disk, k, program, folder, words...); err != nil {
		return "", said, fmt.Errorf("the first file system: %w", err)
	}
	said.Reset()
	return path, said, j.boot(ctx, k, disk, io.MultiWriter(j.log, said))
}

// locate returns a package's import path and its folder.
func (j *job) locate(ctx context.Context, pkg string) (path, folder string, err error) {
	text, err := j.output(ctx, nil, "go", "list", "-f", "{{.ImportPath}}\n{{.Dir}}", pkg)
	if err != nil {
		return "", "", err
	}
	path, folder, ok := strings.Cut(strings.TrimSpace(text), "\n")
	if !ok || strings.Contains(folder, "\n") {
		return "", "", fmt.Errorf("%s is not one package", pkg)
	}
	return path, folder, nil
}

// writeDisk makes the guest's file system: busybox, the modules, the test and the package's testdata. It is not
// compressed: unpacking it in emulation takes longer than reading it.
func writeDisk(file string, k kernel, program, folder string, words ...string) error {
	busybox, err := exec.LookPath("busybox")
	if err != nil {
		return err
	}
	out, err := os.Create(file)
	if err != nil {
		return err
	}
	disk := newCPIO(out)
	for _, dir := range []string{"bin", "dev", "proc", "sys", "modules", "package"} {
		disk.folder(dir)
	}
	disk.file("init", 0o755, guestInit)
	disk.link("bin/sh", "busybox")
	disk.file("modules/order", 0o644, []byte(strings.Join(labModules(), "\n")+"\n"))
	disk.file("arguments", 0o644, []byte(strings.Join(append(words, "-test.timeout="+guestTestLimit.String()), "\n")+"\n"))
	copies := map[string]string{"bin/busybox": busybox, "test": program}
	for _, m := range labModules() {
		copies["modules/"+m+".ko"] = k.module(m)
	}
	err = copyAll(disk, copies)
	if err == nil {
		err = copyTree(disk, filepath.Join(folder, "testdata"), "package/testdata")
	}
	return errors.Join(err, disk.close(), out.Close())
}

func copyAll(disk *cpioWriter, files map[string]string) error {
	for name, from := range files {
		content, err := os.ReadFile(from)
		if err != nil {
			return err
		}
		disk.file(name, 0o755, content)
	}
	return nil
}

// copyTree copies a folder that may not exist.
func copyTree(disk *cpioWriter, from, to string) error {
	if _, err := os.Stat(from); errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return filepath.WalkDir(from, func(file string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(from, file)
		if err != nil {
			return err
		}
		name := to
		if rel != "." {
			name += "/" + filepath.ToSlash(rel)
		}
		if d.IsDir() {
			disk.folder(name)
			return nil
		}
		content, err := os.ReadFile(file)
		disk.file(name, 0o644, content)
		return err
	})
}

// boot runs the machine until the guest has given its verdict; nil means that the test program ended with 0. The
// guest's time is its own (-icount): waiting costs nothing and a busy host changes nothing. The machine runs under
// timeout so that it ends even when this program is killed.
func (j *job) boot(ctx context.Context, k kernel, disk string, said io.Writer) error {
	limit := limitSeconds(guestLimit)
	c := j.command(ctx, nil, "timeout", "--foreground", "-k", "5", limit, qemu,
		"-M", "pc", "-accel", "tcg", "-smp", "1", "-m", "256", "-icount", "shift=2,sleep=off",
		"-nodefaults", "-no-user-config", "-display", "none", "-no-reboot",
		"-kernel", k.image(), "-initrd", disk, "-serial", "stdio",
		"-device", "isa-debug-exit,iobase=0xf4,iosize=1",
		"-object", "can-bus,id=wire", "-device", "kvaser_pci,canbus=wire", "-device", "kvaser_pci,canbus=wire",
		"-append", "console=ttyS0 quiet loglevel=1 panic=-1 mitigations=off")
	c.Stdout, c.Stderr = said, said
	err := c.Run()
	var ended *exec.ExitError
	if !errors.As(err, &ended) {
		if err == nil {
			err = errors.New("the machine stopped without a verdict: the kernel panicked, or no test ran")
		}
		return err
	}
	return verdict(ended.ExitCode())
}

// verdict turns qemu's exit code into the guest's; see guest-init.sh.
func verdict(code int) error {
	const first = 32<<1 | 1
	switch {
	case code == first:
		return nil
	case code > first && code <= first+2*15 && code%2 == 1:
		return fmt.Errorf("the test program ended with %d", (code-first)/2)
	case code == 124 || code == 137:
		return fmt.Errorf("the machine gave no verdict within %s", guestLimit)
	}
	return fmt.Errorf("qemu ended with %d and no verdict of the guest", code)
}

// readGuest counts the tests in what the guest printed.
func (j *job) readGuest(ctx context.Context, path string, said *bytes.Buffer, err error) tally {
	raw := said.String()
	c := j.command(ctx, nil, "go", "tool", "test2json", "-p", path)
	c.Stdin = said
	events, bad := c.Output()
	reader := newTestReader(never)
	if e := reader.read(bytes.NewReader(events)); e != nil || bad != nil {
		return check("reading the tests of "+path, errors.Join(err, e, bad), raw)
	}
	t := reader.result(nil)
	if err != nil && len(t.failed) == 0 {
		t.failed = append(t.failed, trouble{"lab " + path, lastLines(raw, 30) + "\n" + err.Error()})
	}
	return t
}
