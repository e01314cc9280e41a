#!/usr/bin/env bash
# Builds the Debian package of a build folder and checks what is in it.
set -euo pipefail
build=$1
cd "$build"
cpack -G DEB --config CPackConfig.cmake >package.log 2>&1 || { cat package.log; exit 1; }
package=$(ls package/turnstone_*.deb)
contents=$(dpkg-deb --contents "$package")
control=$(dpkg-deb --info "$package")
failed=0
expect() { # expect TEXT PATTERN WHAT
    grep -qE "$2" <<<"$1" || { echo "missing in $package: $3"; failed=1; }
}
expect "$contents" '^-rwxr-xr-x .* \./usr/bin/turnstone$' 'the program, executable'
expect "$contents" '\./usr/lib/systemd/system/turnstone\.service$' 'the systemd unit'
expect "$contents" '^-rw-r----- .* \./etc/turnstone/turnstone\.json$' 'the settings file, which may hold a key, hidden from others'
expect "$contents" '\./usr/share/turnstone/schema/dictionary\.schema\.json$' 'the JSON Schemas'
expect "$contents" '\./usr/share/turnstone/example/sanderling/dictionary\.json$' 'the example vehicle'
expect "$contents" '\./usr/share/doc/turnstone/LINK\.md$' 'the specifications'
expect "$contents" '\./usr/share/man/man1/turnstone\.1\.gz$' 'the manual page of the program'
expect "$contents" '\./usr/share/man/man5/turnstone\.json\.5\.gz$' 'the manual page of the settings'
expect "$contents" '\./usr/share/doc/turnstone/copyright$' 'what is said of the licence'
expect "$control" 'Depends:.*libsqlite3-0' 'the dependency on SQLite'
# The settings in the package are settings this very program accepts.
unpacked=$(mktemp -d)
trap 'rm -rf "$unpacked"' EXIT
dpkg-deb --extract "$package" "$unpacked"
"$unpacked/usr/bin/turnstone" check "$unpacked/usr/share/turnstone/example/sanderling" "$unpacked/usr/share/turnstone/example/site.json" \
    "$unpacked/etc/turnstone/turnstone.json" || failed=1
# What systemd makes of the unit: 16 of 100 is what a service that listens on the network can come down to.
unit="$unpacked/usr/lib/systemd/system/turnstone.service"
systemd-analyze security --offline=true --threshold=16 --no-pager "$unit" >security.log || { cat security.log; failed=1; }
for line in User=turnstone StateDirectory=turnstone UMask=0027; do
    grep -q "^$line$" "$unit" || { echo "missing in the unit: $line"; failed=1; }
done
size=$(stat -c %s "$unpacked/usr/bin/turnstone")
echo "$package: program of $size bytes"
exit $failed
