#!/bin/sh
# Puts Readback into the programs and menus of one user, or of all with PREFIX=/usr/local; --remove takes it out again.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
prefix=${PREFIX:-$HOME/.local}
cd "$here"
find bin share -type f | while IFS= read -r file; do
	if [ "${1:-}" = --remove ]; then
		rm -f "$prefix/$file"
		continue
	fi
	mkdir -p "$prefix/$(dirname "$file")"
	cp "$file" "$prefix/$file"
done
if [ "${1:-}" = --remove ]; then
	rmdir "$prefix/share/doc/readback" 2>/dev/null || true
	echo "Readback is removed from $prefix. The logbook stays where it is."
	exit 0
fi
entry=$prefix/share/applications/readback.desktop
sed "s|^Exec=readback$|Exec=\"$prefix/bin/readback\"|" "$here/share/applications/readback.desktop" >"$entry"
echo "Readback is in $prefix/bin and in the menu."
