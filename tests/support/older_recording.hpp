#pragma once
/// The recording of tests/golden/recording, which an older version wrote.
#include <filesystem>
#include <fstream>
#include <stdexcept>

#include <zlib.h>

#include "tests/support/tree.hpp"

namespace turnstone::test {

inline void write_older_recording(const std::filesystem::path& target) {
    const std::filesystem::path packed = source_path("tests/golden/recording/layout_1.sqlite.gz");
    gzFile in = gzopen(packed.c_str(), "rb");
    if (in == nullptr) throw std::runtime_error(packed.string() + " cannot be read");
    std::ofstream out(target, std::ios::binary);
    char buffer[65536];
    int read = 0;
    while ((read = gzread(in, buffer, sizeof(buffer))) > 0) out.write(buffer, read);
    if (gzclose(in) != Z_OK || read != 0 || !out) throw std::runtime_error(target.string() + " cannot be written");
}

} // namespace turnstone::test
