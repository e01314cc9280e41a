#pragma once
/// A folder of files that is gone after the test.
#include <filesystem>
#include <fstream>
#include <string>

#include <stdlib.h>

namespace turnstone {

class TestFolder {
  public:
    TestFolder() {
        std::string name = (std::filesystem::temp_directory_path() / "turnstone-XXXXXX").string();
        path_ = ::mkdtemp(name.data());
    }
    ~TestFolder() { std::filesystem::remove_all(path_); }
    TestFolder(const TestFolder&) = delete;
    TestFolder& operator=(const TestFolder&) = delete;

    [[nodiscard]] const std::filesystem::path& path() const { return path_; }
    std::filesystem::path write(const std::string& name, const std::string& text) const {
        std::filesystem::create_directories((path_ / name).parent_path());
        std::ofstream(path_ / name, std::ios::binary) << text;
        return path_ / name;
    }

  private:
    std::filesystem::path path_;
};

inline std::filesystem::path demo() {
    return std::filesystem::path(TURNSTONE_SOURCE_DIR) / "tools/demo";
}

/// The demo files in a folder of their own, so that a test can spoil one.
inline void copy_demo(const TestFolder& folder) {
    for (const char* name : {"sanderling/dictionary.json", "sanderling/vehicle.json", "site.json"}) {
        std::filesystem::create_directories((folder.path() / name).parent_path());
        std::filesystem::copy_file(demo() / name, folder.path() / name);
    }
}

} // namespace turnstone
