package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"runtime"
	"slices"
	"strings"
)

// need is something that has to be on this computer, and how it gets there.
type need struct {
	what     string                                     // in words
	met      func(ctx context.Context, p *project) bool // looks at the thing itself, not at a list of packages
	packages map[string][]string                        // by the name of the package manager
	byHand   string                                     // what to do where no package manager can help
}

// manager is a system's package manager.
type manager struct {
	name    string
	refresh []string // reads the list of packages anew; nil where installing does that
	install []string
}

func managers() []manager {
	return []manager{
		{"apt", []string{"apt-get", "update"}, []string{"apt-get", "install", "-y", "--no-install-recommends"}},
		{"dnf", nil, []string{"dnf", "install", "-y", "--setopt=install_weak_deps=False"}},
		{"pacman", nil, []string{"pacman", "-S", "--needed", "--noconfirm"}},
	}
}

// findManager returns the package manager of this computer.
func findManager() (manager, bool) {
	if runtime.GOOS == "windows" || runtime.GOOS == "darwin" {
		return manager{}, false
	}
	for _, m := range managers() {
		if _, err := exec.LookPath(m.install[0]); err == nil {
			return m, true
		}
	}
	return manager{}, false
}

// missing returns the needs that are not met.
func missing(ctx context.Context, p *project, needs []need) []need {
	var out []need
	for _, n := range needs {
		if !n.met(ctx, p) {
			out = append(out, n)
		}
	}
	return out
}

// install sees to it that every need is met. Where a person sits at the terminal it asks before it installs. It
// returns an [*exit] with code 2 that tells exactly what to do where it can't go on by itself.
func (p *project) install(ctx context.Context, needs []need) error {
	lack := missing(ctx, p, needs)
	if len(lack) == 0 || ctx.Err() != nil {
		return ctx.Err()
	}
	m, found := findManager()
	packages, byHand := wanted(lack, m.name)
	if !found || len(byHand) > 0 {
		return &exit{exitUsage, "this computer lacks something that Readback needs:\n" + instructions(lack, m.name)}
	}
	fmt.Fprintf(p.out, "Not here yet: %s.\n", names(lack))
	root, err := asRoot()
	if err != nil {
		return &exit{exitUsage, fmt.Sprintf("%v. Run this first; it asks for the password of root:\n  su - -c '%s'", err, recipe(m, "", packages))}
	}
	fmt.Fprintf(p.out, "To be run: %s\n", recipe(m, strings.Join(root, " "), packages))
	if atTerminal() && !confirmed(p) {
		return &exit{exitUsage, "nothing was installed"}
	}
	installing := func() error { return p.runInstaller(ctx, root, m, packages) }
	if err := p.meanwhile("installing", installing); err != nil {
		return err
	}
	if lack = missing(ctx, p, lack); len(lack) > 0 {
		return &exit{exitUsage, fmt.Sprintf("%s installed %s, but these are still not to be found: %s", m.name, strings.Join(packages, " "), names(lack))}
	}
	return nil
}

// wanted splits needs into the packages that meet them and those for which this manager has none.
func wanted(needs []need, manager string) (packages []string, byHand []need) {
	for _, n := range needs {
		if len(n.packages[manager]) == 0 {
			byHand = append(byHand, n)
		}
		packages = append(packages, n.packages[manager]...)
	}
	slices.Sort(packages)
	return slices.Compact(packages), byHand
}

func instructions(needs []need, manager string) string {
	var b strings.Builder
	for _, n := range needs {
		how := n.byHand
		if list := n.packages[manager]; len(list) > 0 {
			how = "install " + strings.Join(list, " ")
		} else if how == "" {
			how = "install it with your system's own means"
		}
		fmt.Fprintf(&b, "  %s: %s\n", n.what, how)
	}
	return strings.TrimRight(b.String(), "\n")
}

func names(needs []need) string {
	var list []string
	for _, n := range needs {
		list = append(list, n.what)
	}
	return strings.Join(list, ", ")
}

// recipe is the command line that a person would type.
func recipe(m manager, root string, packages []string) string {
	line := func(words []string) string {
		if root != "" {
			words = append([]string{root}, words...)
		}
		return strings.Join(words, " ")
	}
	install := line(append(slices.Clone(m.install), packages...))
	if m.refresh == nil {
		return install
	}
	return line(m.refresh) + " && " + install
}

// asRoot is the prefix that lets a command run as root: nothing, or sudo.
func asRoot() ([]string, error) {
	if os.Geteuid() == 0 {
		return nil, nil
	}
	if _, err := exec.LookPath("sudo"); err != nil {
		return nil, errors.New("installing needs root, and there is no sudo")
	}
	if atTerminal() {
		return []string{"sudo"}, nil
	}
	return []string{"sudo", "-n"}, nil
}

// runInstaller installs packages. A failed refresh is told only when the installation fails as well: one broken
// source of packages must not stop the others.
func (p *project) runInstaller(ctx context.Context, root []string, m manager, packages []string) error {
	var refreshed error
	if m.refresh != nil {
		refreshed = p.privileged(ctx, root, m.refresh)
	}
	if err := p.privileged(ctx, root, append(slices.Clone(m.install), packages...)); err != nil {
		return &exit{exitUsage, fmt.Sprintf("installing failed: %v. %s", errors.Join(refreshed, err), typedByHand(m, packages))}
	}
	return nil
}

// typedByHand says what a person can type where installing failed. Many systems let the first account use sudo, others know the
// password of root only.
func typedByHand(m manager, packages []string) string {
	return fmt.Sprintf("Try it by hand:\n  %s\nor, where your account may not use sudo and you know the password of root:\n  su - -c '%s'",
		recipe(m, "sudo", packages), recipe(m, "", packages))
}

// privileged runs a command with the prefix of [asRoot] and stays quiet unless it fails.
func (p *project) privileged(ctx context.Context, root, words []string) error {
	const quiet = "DEBIAN_FRONTEND=noninteractive" // packages ask nothing
	mayAsk := len(root) == 1                       // sudo, for the password
	prefix := slices.Clone(root)
	if len(root) > 0 {
		prefix = append(prefix, "/usr/bin/env", quiet) // sudo hands no settings on
	}
	words = append(prefix, words...)
	c := p.command(ctx, []string{quiet, "LC_ALL=C"}, words[0], words[1:]...)
	if mayAsk {
		c.Stdin = os.Stdin
	}
	text, err := c.CombinedOutput()
	if err != nil {
		return fmt.Errorf("%s: %w\n%s", strings.Join(words, " "), err, lastLines(string(text), 15))
	}
	return nil
}

// atTerminal reports whether a person can answer on standard input.
func atTerminal() bool {
	in, err := os.Stdin.Stat()
	if err != nil || in.Mode()&os.ModeCharDevice == 0 {
		return false
	}
	null, err := os.Stat(os.DevNull)
	return err != nil || !os.SameFile(in, null)
}

func confirmed(p *project) bool {
	fmt.Fprint(p.out, "Install now? [y/N] ")
	line, _ := bufio.NewReader(os.Stdin).ReadString('\n')
	answer := strings.ToLower(strings.TrimSpace(line))
	return answer == "y" || answer == "yes"
}
