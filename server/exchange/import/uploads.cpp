#include "server/exchange/import/uploads.hpp"

#include <algorithm>
#include <chrono>
#include <fstream>
#include <system_error>

namespace turnstone::exchange {

namespace {

namespace fs = std::filesystem;

constexpr std::string_view kBeginning = ".upload-";
constexpr std::chrono::minutes kKept{10};
constexpr std::size_t kKeyCharactersMax = 64;

bool is_key(std::string_view text) {
    return !text.empty() && text.size() <= kKeyCharactersMax &&
           std::ranges::all_of(
               text, [](char c) { return (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z'); });
}

} // namespace

Result<fs::path> upload_file(const fs::path& folder, std::string_view key) {
    if (!is_key(key)) return fail("'upload' is not the key of an upload; begin one with name=FILE&at=0");
    return folder / (std::string(kBeginning) + std::string(key));
}

std::size_t remove_old_uploads(const fs::path& folder) {
    std::size_t left = 0;
    std::error_code error; // of a folder that cannot be read, nothing is removed
    for (const auto& entry : fs::directory_iterator(folder, error)) {
        if (!entry.path().filename().string().starts_with(kBeginning)) continue;
        const auto touched = fs::last_write_time(entry.path(), error);
        if (!error && fs::file_time_type::clock::now() - touched > kKept)
            fs::remove(entry.path(), error);
        else
            ++left;
    }
    return left;
}

Result<void> make_room_for_upload(const fs::path& folder) {
    if (remove_old_uploads(folder) >= kUploadsMax)
        return fail("other logs are being brought or imported; wait for them, ten minutes at most");
    return {};
}

Result<std::uint64_t> add_to_upload(const fs::path& file, std::uint64_t at, std::string_view piece) {
    std::error_code none;
    const std::uint64_t size = fs::exists(file, none) ? fs::file_size(file, none) : 0;
    if (none || (at > 0 && size == 0)) return fail("that upload is not there any more; begin again");
    if (size != at)
        return fail("the piece begins at " + std::to_string(at) + ", and the upload has " + std::to_string(size) +
                    " bytes; go on there");
    if (piece.size() > kUploadBytesMax - size)
        return fail("a log may have " + std::to_string(kUploadBytesMax) +
                    " bytes at most; import it with turnstone "
                    "import on the server's computer");
    std::ofstream out(file, std::ios::binary | std::ios::app);
    out.write(piece.data(), static_cast<std::streamsize>(piece.size()));
    out.flush();
    if (!out) return fail("the log cannot be written; check that there is room on the server's disk");
    return size + piece.size();
}

} // namespace turnstone::exchange
