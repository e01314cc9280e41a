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
expect "$contents" '\./etc/turnstone/turnstone\.json$' 'the settings file'
expect "$contents" '\./usr/share/turnstone/schema/dictionary\.schema\.json$' 'the JSON Schemas'
expect "$contents" '\./usr/share/turnstone/example/sanderling/dictionary\.json$' 'the example vehicle'
expect "$contents" '\./usr/share/doc/turnstone/LINK\.md$' 'the specifications'
expect "$control" 'Depends:.*libsqlite3-0' 'the dependency on SQLite'
# The settings in the package are settings this very program accepts.
unpacked=$(mktemp -d)
trap 'rm -rf "$unpacked"' EXIT
dpkg-deb --extract "$package" "$unpacked"
"$unpacked/usr/bin/turnstone" check "$unpacked/usr/share/turnstone/example/sanderling" "$unpacked/usr/share/turnstone/example/site.json" \
    "$unpacked/etc/turnstone/turnstone.json" || failed=1
# The unit keeps its own user, its state directory and its hardening.
for line in User=turnstone StateDirectory=turnstone NoNewPrivileges=yes ProtectSystem=strict; do
    grep -q "^$line$" "$unpacked/usr/lib/systemd/system/turnstone.service" || { echo "missing in the unit: $line"; failed=1; }
done
size=$(stat -c %s "$unpacked/usr/bin/turnstone")
echo "$package: program of $size bytes"
exit $failed
