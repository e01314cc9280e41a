#include "tests/support/temporary_folder.hpp"

#include <cerrno>
#include <system_error>

#include <stdlib.h>

#include "tests/support/tree.hpp"

namespace turnstone::test {

TemporaryFolder::TemporaryFolder() {
    std::string pattern = (std::filesystem::temp_directory_path() / "turnstone-test-XXXXXX").string();
    if (::mkdtemp(pattern.data()) == nullptr) throw std::system_error(errno, std::generic_category(), pattern);
    path_ = pattern;
}

TemporaryFolder::~TemporaryFolder() {
    std::error_code ignored; // a leftover fails no test
    std::filesystem::permissions(path_, std::filesystem::perms::owner_all, ignored);
    std::filesystem::remove_all(path_, ignored);
}

std::filesystem::path TemporaryFolder::write(const std::string& name, const std::string& content) const {
    write_file(path_ / name, content);
    return path_ / name;
}

std::vector<std::string> TemporaryFolder::names() const {
    std::vector<std::string> names;
    for (const auto& entry : std::filesystem::directory_iterator(path_))
        names.push_back(entry.path().filename().string());
    return names;
}

void copy_demo(const TemporaryFolder& folder) {
    for (const char* name : {"sanderling/dictionary.json", "sanderling/vehicle.json", "site.json"})
        folder.write(name, read_file(demo_path(name)));
}

} // namespace turnstone::test
