#include "server/commands/operator_key.hpp"

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <fstream>
#include <iterator>
#include <utility>

#include <sys/stat.h>

#include <spdlog/spdlog.h>

#include "server/serve/random_key.hpp"
#include "server/serve/whole_file.hpp"

namespace turnstone {

namespace {

constexpr std::size_t kKeySizeMin = 16; // as for one that is set
constexpr std::size_t kKeySizeMax = 256;

} // namespace

Result<std::string> kept_operator_key(const std::filesystem::path& file) {
    struct stat status {};
    if (::stat(file.c_str(), &status) != 0 && errno == ENOENT)
        if (const int error = write_whole(file, random_key() + "\n", 0600, Existing::kept); error != 0)
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

KeptSessions::KeptSessions(const std::filesystem::path& recordings, std::string mark)
    : file_(recordings / "operator_sessions"), mark_(std::move(mark)) {}

std::string KeptSessions::read() const {
    std::ifstream in(file_, std::ios::binary);
    std::string mark;
    if (!std::getline(in, mark) || mark != mark_) return {};
    return {std::istreambuf_iterator<char>(in), std::istreambuf_iterator<char>()};
}

void KeptSessions::put(std::string sessions) {
    const std::lock_guard lock(mutex_);
    put_ = std::move(sessions);
}

void KeptSessions::write() {
    std::optional<std::string> next;
    {
        const std::lock_guard lock(mutex_);
        next = std::exchange(put_, std::nullopt);
    }
    if (!next) return;
    if (next->empty()) {
        std::error_code none_was_kept;
        std::filesystem::remove(file_, none_was_kept);
        return;
    }
    if (const int error = write_whole(file_, mark_ + "\n" + *next + "\n", 0600, Existing::replaced); error != 0)
        spdlog::warn("{}: operators' sessions cannot be kept here ({}); after a restart they unlock again",
                     file_.string(), std::strerror(error));
}

} // namespace turnstone
