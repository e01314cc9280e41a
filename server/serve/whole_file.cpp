#include "server/serve/whole_file.hpp"

#include <cerrno>
#include <cstdio>
#include <string>

#include <fcntl.h>
#include <sys/stat.h>
#include <unistd.h>

namespace turnstone {

int write_whole(const std::filesystem::path& file, const std::string& text, mode_t mode, Existing existing) {
    const std::string part = file.string() + "." + std::to_string(::getpid());
    const int descriptor = ::open(part.c_str(), O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC | O_NOFOLLOW, mode);
    if (descriptor < 0) return errno;
    int error = 0;
    errno = ENOSPC; // of a write that is short
    if (::write(descriptor, text.data(), text.size()) != static_cast<ssize_t>(text.size()) || ::fsync(descriptor) != 0)
        error = errno;
    ::close(descriptor);
    if (error == 0) {
        const bool named = existing == Existing::replaced ? ::rename(part.c_str(), file.c_str()) == 0
                                                          : ::link(part.c_str(), file.c_str()) == 0 || errno == EEXIST;
        if (!named) error = errno;
    }
    // After a rename there is none of that name; a link leaves it.
    ::unlink(part.c_str());
    return error;
}

} // namespace turnstone
