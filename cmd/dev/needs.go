package main

import (
	"context"
	"debug/elf"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
)

// windowNeeds is what it takes to build the window.
func windowNeeds() []need {
	switch runtime.GOOS {
	case "windows":
		return []need{{what: "a C compiler for Windows", met: compiler,
			byHand: "install a MinGW-w64 gcc and put its folder bin into PATH, so that `gcc --version` answers"}}
	case "darwin":
		return []need{{what: "the C compiler of the Xcode command line tools", met: compiler,
			byHand: "run `xcode-select --install`, so that `clang --version` answers"}}
	}
	return []need{
		{what: "root certificates", met: anyFile("/etc/ssl/certs/ca-certificates.crt", "/etc/pki/tls/certs/ca-bundle.crt", "/etc/ssl/cert.pem"),
			packages: each("ca-certificates", "ca-certificates", "ca-certificates")},
		{what: "a C compiler", met: compiler, packages: each("gcc", "gcc", "gcc")},
		{what: "the headers of the C library", met: compiles("stdlib.h", "c"), packages: each("libc6-dev", "glibc-devel", "glibc")},
		{what: "pkg-config", met: program("pkg-config"), packages: each("pkgconf", "pkgconf-pkg-config", "pkgconf")},
		{what: "OpenGL", met: compiles("GL/gl.h", "GL"), packages: each("libgl-dev", "libglvnd-devel", "libglvnd")},
		{what: "Xcursor", met: compiles("X11/Xcursor/Xcursor.h", "Xcursor"), packages: each("libxcursor-dev", "libXcursor-devel", "libxcursor")},
		{what: "Xrandr", met: compiles("X11/extensions/Xrandr.h", "Xrandr"), packages: each("libxrandr-dev", "libXrandr-devel", "libxrandr")},
		{what: "Xinerama", met: compiles("X11/extensions/Xinerama.h", "Xinerama"), packages: each("libxinerama-dev", "libXinerama-devel", "libxinerama")},
		{what: "XInput", met: compiles("X11/extensions/XInput2.h", "Xi"), packages: each("libxi-dev", "libXi-devel", "libxi")},
		{what: "Xxf86vm", met: compiles("X11/extensions/xf86vmode.h", "Xxf86vm"), packages: each("libxxf86vm-dev", "libXxf86vm-devel", "libxxf86vm")},
	}
}

// displayNeeds is what it takes to run the window on a screen that nobody sees.
func displayNeeds() []need {
	return []need{
		{what: "Xvfb", met: program("Xvfb"), packages: apt("xvfb")},
		{what: "xdotool", met: program("xdotool"), packages: apt("xdotool")},
		{what: "the program import", met: program("import"), packages: apt("imagemagick")},
		{what: "OpenGL in software", met: anyFile("/usr/lib/*/dri/*_dri.so", "/usr/lib64/dri/*_dri.so", "/usr/lib/dri/*_dri.so"), packages: apt("libgl1-mesa-dri")},
	}
}

// testNeeds is what the tests of the packages need: the window's libraries, and independent readers of CAN files and of
// printed pages.
func testNeeds() []need {
	return append(windowNeeds(),
		need{what: "tshark", met: program("tshark"), packages: each("tshark", "wireshark-cli", "wireshark-cli"), byHand: readerByHand},
		need{what: "capinfos", met: program("capinfos"), packages: each("wireshark-common", "wireshark-cli", "wireshark-cli"), byHand: readerByHand},
		need{what: "pdftotext", met: program("pdftotext"), packages: each("poppler-utils", "poppler-utils", "poppler"), byHand: "install poppler's command line programs, and put their folder into PATH"})
}

const readerByHand = "install the command line programs tshark and capinfos, and put their folder into PATH"

// labNeeds is what it takes to run a kernel in a virtual machine. The kernel is no package to be installed: see kernel.go.
func labNeeds() []need {
	return []need{
		{what: qemu, met: program(qemu), packages: apt("qemu-system-x86")},
		{what: "a static busybox", met: staticProgram("busybox"), packages: apt("busybox-static")},
		{what: "xz", met: program("xz"), packages: apt("xz-utils")},
	}
}

func each(apt, dnf, pacman string) map[string][]string {
	return map[string][]string{"apt": {apt}, "dnf": {dnf}, "pacman": {pacman}}
}

func apt(name string) map[string][]string { return map[string][]string{"apt": {name}} }

func program(name string) func(context.Context, *project) bool {
	return func(context.Context, *project) bool {
		_, err := exec.LookPath(name)
		return err == nil
	}
}

func anyFile(patterns ...string) func(context.Context, *project) bool {
	return func(context.Context, *project) bool {
		for _, pattern := range patterns {
			if found, err := filepath.Glob(pattern); err == nil && len(found) > 0 {
				return true
			}
		}
		return false
	}
}

// staticProgram asks for a program that runs without any library: one whose ELF file names no interpreter.
func staticProgram(name string) func(context.Context, *project) bool {
	return func(context.Context, *project) bool {
		path, err := exec.LookPath(name)
		if err != nil {
			return false
		}
		file, err := elf.Open(path)
		if err != nil {
			return false
		}
		defer file.Close()
		for _, part := range file.Progs {
			if part.Type == elf.PT_INTERP {
				return false
			}
		}
		return true
	}
}

// compilerName is the C compiler that go build takes.
func compilerName() string {
	if name := strings.Fields(os.Getenv("CC")); len(name) > 0 {
		return name[0]
	}
	if runtime.GOOS == "darwin" {
		return "clang"
	}
	return "gcc"
}

// compiler runs it once: on macOS there is a clang that only offers to install the true one.
func compiler(ctx context.Context, p *project) bool {
	return p.command(ctx, nil, compilerName(), "--version").Run() == nil
}

// compiles asks whether a program with this header builds against this library: the header alone does not help.
func compiles(header, library string) func(context.Context, *project) bool {
	return func(ctx context.Context, p *project) bool {
		dir, err := os.MkdirTemp("", "readback-need-")
		if err != nil {
			return false
		}
		defer os.RemoveAll(dir)
		text := "#include <" + header + ">\nint main(void) { return 0; }\n"
		if strings.HasPrefix(header, "X11/") {
			text = "#include <X11/Xlib.h>\n" + text
		}
		c := p.command(ctx, nil, compilerName(), "-x", "c", "-", "-o", filepath.Join(dir, "probe"), "-l"+library)
		c.Stdin = strings.NewReader(text)
		return c.Run() == nil
	}
}
