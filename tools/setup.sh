# Sourced by tools/run and tools/test: installs what tools/packages.txt lists, finds a Node.js the dashboard builds with,
# configures and builds. Everything it does is said in one line before it is done.

root=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
cd "$root"

say() { printf '\033[1m== %s\033[0m\n' "$*"; }
stop() { printf 'turnstone: %s\n' "$*" >&2; exit 1; }

# packages_wanted [SECTION]: the names of tools/packages.txt up to the end of a section; without one, up to the first.
packages_wanted() {
    awk -v last="[${1:-}]" 'BEGIN {whole = last == "[]"} /^#/ || /^$/ {next} /^\[/ {if (whole) exit; whole = $0 == last; next} {print}' tools/packages.txt
}

is_installed() {
    case $1 in
        # Another packaging of Node.js (one that already brings npm) serves as well as Debian's.
        nodejs) command -v node >/dev/null ;;
        npm) command -v npm >/dev/null ;;
        *) dpkg-query -W -f '${Status}' "$1" 2>/dev/null | grep -q 'ok installed' ;;
    esac
}

install_packages() {
    local missing=()
    if ! command -v dpkg-query >/dev/null || ! command -v apt-get >/dev/null; then
        say "This is not a Debian system: install these yourself (Debian 12 names), then run again"
        packages_wanted "${1:-}" | tr '\n' ' '; echo
        local command_name
        for command_name in cmake g++ ninja git node npm; do
            command -v "$command_name" >/dev/null || stop "missing here: $command_name"
        done
        return
    fi
    local package
    for package in $(packages_wanted "${1:-}"); do
        is_installed "$package" || missing+=("$package")
    done
    [ ${#missing[@]} -eq 0 ] && return
    local as_root=()
    if [ "$(id -u)" -ne 0 ]; then
        command -v sudo >/dev/null || stop "these Debian packages are missing, and neither root nor sudo is at hand: ${missing[*]}"
        as_root=(sudo)
    fi
    say "Installing ${#missing[@]} Debian packages: ${missing[*]}"
    "${as_root[@]}" apt-get update -q >/dev/null || stop "apt-get update failed; is this machine online?"
    "${as_root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends "${missing[@]}" >/dev/null ||
        stop "apt-get could not install: ${missing[*]}. Turnstone is built on Debian 12 (bookworm); other releases may name packages differently."
}

# The dashboard's build needs Node.js 20.19 or newer; Debian 12 has 18. The same program comes as a registry package.
find_node() {
    local version
    version=$(node -p 'const [a,b]=process.versions.node.split(".").map(Number); a>20||(a===20&&b>=19) ? "new" : "old"' 2>/dev/null) || version=none
    [ "$version" = new ] && return
    local arch
    case $(uname -m) in
        x86_64) arch=x64 ;;
        aarch64) arch=arm64 ;;
        *) stop "Node.js 20.19 or newer is needed to build the dashboard; install it, or configure with -DTURNSTONE_WEB=OFF" ;;
    esac
    local folder="$root/build/node"
    if [ ! -x "$folder/node_modules/node-linux-$arch/bin/node" ]; then
        say "Fetching Node.js 22 into build/node (this system has $(node --version 2>/dev/null || echo none))"
        mkdir -p "$folder"
        npm install --prefix "$folder" --no-save --no-audit --no-fund --loglevel=error "node-linux-$arch@22" >/dev/null ||
            stop "could not fetch Node.js from the npm registry; is this machine online?"
    fi
    export PATH="$folder/node_modules/node-linux-$arch/bin:$PATH"
}

# build_config NAME [TARGETS...]: configures build/NAME once and builds it; with sanitizers, for what watch_all says.
build_config() {
    local config=$1
    shift
    if [ ! -f "build/$config/build.ninja" ] || [ "$config" != release ]; then
        say "Configuring build/$config"
        local web=ON
        [ "$config" = release ] || web=OFF # the dashboard is the same in every configuration
        cmake -S . -B "build/$config" -G Ninja -DTURNSTONE_CONFIG="$config" -DTURNSTONE_WEB=$web -DTURNSTONE_WATCH_ALL="${watch_all:-OFF}" >"build/configure-$config.log" 2>&1 ||
            { cat "build/configure-$config.log"; stop "configuring failed; the lines above say why"; }
    fi
    # A compiler takes up to 2 GB.
    local jobs
    jobs=$(awk -v jobs="$(($(nproc) + 1))" '/^MemAvailable/ {fits = int($2 / 2000000)} END {if (fits < jobs) jobs = fits; print jobs < 1 ? 1 : jobs}' /proc/meminfo)
    say "Building build/$config"
    cmake --build "build/$config" -j "$jobs" ${@:+--target "$@"}
}

mkdir -p build
