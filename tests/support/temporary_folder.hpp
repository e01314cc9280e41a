#pragma once
/// A folder for one test, removed after it.
#include <filesystem>
#include <string>
#include <vector>

namespace turnstone::test {

class TemporaryFolder {
  public:
    TemporaryFolder();
    ~TemporaryFolder();
    TemporaryFolder(const TemporaryFolder&) = delete;
    TemporaryFolder& operator=(const TemporaryFolder&) = delete;

    [[nodiscard]] const std::filesystem::path& path() const noexcept { return path_; }
    /// Writes a file and returns its path.
    std::filesystem::path write(const std::string& name, const std::string& content) const;
    /// The file of a recording.
    [[nodiscard]] std::filesystem::path recording(const std::string& id) const { return path_ / (id + ".sqlite"); }
    /// Names of what is in it, in no order.
    [[nodiscard]] std::vector<std::string> names() const;

  private:
    std::filesystem::path path_;
};

/// The demo's vehicle and site, so that a test can spoil one.
void copy_demo(const TemporaryFolder& folder);

} // namespace turnstone::test
