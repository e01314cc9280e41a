#include "server/exchange/write/output.hpp"

#include <algorithm>
#include <cerrno>
#include <cstring>
#include <string>
#include <system_error>

namespace turnstone::exchange {

namespace {

std::string refusal(const std::filesystem::path& path, int code) {
    return path.string() + " cannot be written: " + std::generic_category().message(code);
}

} // namespace

Result<Output> Output::create(const std::filesystem::path& path) {
    std::FILE* file = std::fopen(path.c_str(), "wbe");
    if (file == nullptr) return fail(refusal(path, errno));
    std::setbuf(file, nullptr); // there is a buffer here
    return Output(path, file);
}

void Output::put(std::string_view text) {
    while (!text.empty()) {
        if (size_ == buffer_.size()) flush();
        const std::size_t taken = std::min(text.size(), buffer_.size() - size_);
        std::memcpy(buffer_.data() + size_, text.data(), taken);
        size_ += taken;
        text.remove_prefix(taken);
    }
}

char* Output::room(std::size_t bytes) {
    if (buffer_.size() - size_ < bytes) flush();
    return buffer_.data() + size_;
}

void Output::flush() {
    if (errno_ == 0 && size_ > 0 && std::fwrite(buffer_.data(), 1, size_, file_.get()) != size_)
        errno_ = errno != 0 ? errno : EIO;
    written_ += size_;
    size_ = 0;
}

Result<void> Output::finish() {
    flush();
    if (errno_ == 0 && std::fflush(file_.get()) != 0) errno_ = errno;
    if (errno_ != 0) return fail(refusal(path_, errno_));
    return {};
}

} // namespace turnstone::exchange
