package main

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"os"
	"path/filepath"
	"strings"
)

// windres is the resource compiler that comes with the MinGW-w64 compiler.
const (
	mingw   = "x86_64-w64-mingw32-gcc"
	windres = "x86_64-w64-mingw32-windres"
)

// resourceScript describes the resources of a Windows program: its icon, under the name by which GLFW looks for a window's
// icon, its manifest (type 24), and its version. program is the file's name without .exe.
func resourceScript(program, about, version string) string {
	numbers := strings.ReplaceAll(version, ".", ",") + ",0"
	var values strings.Builder
	for _, v := range [][2]string{
		{"CompanyName", "The Readback authors"}, {"FileDescription", about}, {"FileVersion", version}, {"InternalName", program},
		{"LegalCopyright", "MIT licence"}, {"OriginalFilename", program + ".exe"}, {"ProductName", "Readback"}, {"ProductVersion", version},
	} {
		fmt.Fprintf(&values, "      VALUE %q, %q\n", v[0], v[1])
	}
	return fmt.Sprintf(`GLFW_ICON ICON "readback.ico"
1 24 "readback.manifest"
1 VERSIONINFO
FILEVERSION %[1]s
PRODUCTVERSION %[1]s
FILEFLAGSMASK 0x3F
FILEFLAGS 0
FILEOS 0x40004
FILETYPE 1
BEGIN
  BLOCK "StringFileInfo"
  BEGIN
    BLOCK "080904B0"
    BEGIN
%[2]s    END
  END
  BLOCK "VarFileInfo"
  BEGIN
    VALUE "Translation", 0x0809, 0x04B0
  END
END
`, numbers, values.String())
}

// resourceManifest asks for no rights that the user does not have, and names the Windows versions that Go supports: since
// 10 they all go by one name.
func resourceManifest(program, version string) string {
	return fmt.Sprintf(`<?xml version="1.0" encoding="UTF-8" standalone="yes"?>
<assembly xmlns="urn:schemas-microsoft-com:asm.v1" manifestVersion="1.0">
  <assemblyIdentity type="win32" name="readback.%s" version="%s.0" processorArchitecture="amd64"/>
  <trustInfo xmlns="urn:schemas-microsoft-com:asm.v3">
    <security><requestedPrivileges><requestedExecutionLevel level="asInvoker" uiAccess="false"/></requestedPrivileges></security>
  </trustInfo>
  <compatibility xmlns="urn:schemas-microsoft-com:compatibility.v1">
    <application><supportedOS Id="{8e0f7a12-bfb3-4fe8-b9a5-48fd50a15a9a}"/></application>
  </compatibility>
  <application xmlns="urn:schemas-microsoft-com:asm.v3">
    <windowsSettings>
      <longPathAware xmlns="http://schemas.microsoft.com/SMI/2016/WindowsSettings">true</longPathAware>
      <activeCodePage xmlns="http://schemas.microsoft.com/SMI/2019/WindowsSettings">UTF-8</activeCodePage>
    </windowsSettings>
  </application>
</assembly>
`, program, version)
}

// resources compiles the resources of a program into an object file in dir.
func (p *project) resources(ctx context.Context, dir, program, about, version string, icon image.Image) (string, error) {
	ico, err := icoOf(icon, append(iconSizes(), 256))
	if err != nil {
		return "", err
	}
	for name, content := range map[string][]byte{
		"readback.ico": ico, "readback.manifest": []byte(resourceManifest(program, version)), program + ".rc": []byte(resourceScript(program, about, version)),
	} {
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o644); err != nil {
			return "", err
		}
	}
	object := filepath.Join(dir, program+".o")
	c := p.command(ctx, nil, windres, "-O", "coff", "-o", object, program+".rc")
	c.Dir = dir
	var said bytes.Buffer
	c.Stdout, c.Stderr = &said, &said
	if err := c.Run(); err != nil {
		return "", fmt.Errorf("the resources of %s.exe: %w\n%s", program, err, lastLines(said.String(), 10))
	}
	return object, nil
}
