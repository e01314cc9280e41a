#include "server/commands/operator_key.hpp"

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <fstream>

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

#include "server/serve/random_key.hpp"

namespace turnstone {

namespace {

constexpr std::size_t kKeySizeMin = 16; // as for one that is set
constexpr std::size_t kKeySizeMax = 256;

/// Writes a file of mode 0600, whole before it has its name. A file of that name stays. Returns errno, or 0.
int write_private(const std::filesystem::path& file, const std::string& text) {
    const std::string part = file.string() + "." + std::to_string(::getpid());
    const int descriptor = ::open(part.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC | O_NOFOLLOW, 0600);
    if (descriptor < 0) return errno;
    int error = 0;
    if (::write(descriptor, text.data(), text.size()) != static_cast<ssize_t>(text.size()) || ::fsync(descriptor) != 0)
        error = errno != 0 ? errno : ENOSPC;
    ::close(descriptor);
    if (error == 0 && ::link(part.c_str(), file.c_str()) != 0 && errno != EEXIST) error = errno;
    ::unlink(part.c_str());
    return error;
}

} // namespace

Result<std::string> kept_operator_key(const std::filesystem::path& file) {
    struct stat status {};
    if (::stat(file.c_str(), &status) != 0 && errno == ENOENT)
        if (const int error = write_private(file, random_key() + "\n"); error != 0)
            return fail(file.string() + ": the operator key cannot be kept here (" + std::strerror(error) +
                        "); make its folder, or give another file");
    std::ifstream in(file, std::ios::binary);
    std::string key(kKeySizeMax + 1, '\0');
    in.read(key.data(), static_cast<std::streamsize>(key.size()));
    if (in.bad() || !in.is_open())
        return fail(file.string() + ": the operator key cannot be read (" + std::strerror(errno) +
                    "); its owner must be who runs the server");
    key.resize(static_cast<std::size_t>(in.gcount()));
    while (key.ends_with('\n') || key.ends_with('\r')) key.pop_back();
    const bool is_plain = std::ranges::all_of(key, [](char c) { return c > ' ' && c < '\x7f'; });
    if (!is_plain || key.size() < kKeySizeMin || key.size() > kKeySizeMax)
        return fail(file.string() + ": holds no operator key, which is one line of " + std::to_string(kKeySizeMin) +
                    " to " + std::to_string(kKeySizeMax) + " visible characters; delete it and a new key is made");
    if (::stat(file.c_str(), &status) == 0 && (status.st_mode & 077) != 0)
        return fail(file.string() + ": others may read this operator key; chmod 600 it, or delete it and a new one is "
                                    "made");
    return key;
}

} // namespace turnstone
