#pragma once
/// Logs that a browser brings piece by piece: hidden files in the recordings' folder. A file is all there is to know of
/// an upload, so that nothing has to be kept in step with it.
#include <cstddef>
#include <cstdint>
#include <filesystem>
#include <string>
#include <string_view>

#include "shared/result.hpp"

namespace turnstone::exchange {

inline constexpr std::uint64_t kUploadBytesMax = 4ULL << 30U;
inline constexpr std::size_t kUploadsMax = 4;

/// The file of an upload; fails without one of that key.
[[nodiscard]] Result<std::filesystem::path> upload_file(const std::filesystem::path& folder, std::string_view key);

/// Removes what nobody has added to for ten minutes: whoever cancels an import may try it again until then. Returns how
/// many are left.
std::size_t remove_old_uploads(const std::filesystem::path& folder);

/// Fails when too many are left for another.
[[nodiscard]] Result<void> make_room_for_upload(const std::filesystem::path& folder);

/// Adds a piece that begins at `at`, which must be where the file ends; at 0 the file must not be there.
/// Returns the bytes it has then.
[[nodiscard]] Result<std::uint64_t> add_to_upload(const std::filesystem::path& file, std::uint64_t at,
                                                  std::string_view piece);

} // namespace turnstone::exchange
