#pragma once
/// Writes a small file that is whole before it has its name: whoever finds it under that name can read all of it.
#include <filesystem>
#include <string>

#include <sys/types.h>

namespace turnstone {

enum class Existing : unsigned char { kept, replaced };

/// `mode`: who may read it, from the first moment on. `existing`: what becomes of a file of that name. Returns errno,
/// or 0.
[[nodiscard]] int write_whole(const std::filesystem::path& file, const std::string& text, mode_t mode,
                              Existing existing);

} // namespace turnstone
