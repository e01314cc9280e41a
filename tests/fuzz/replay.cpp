// Runs a fuzz target over every file of a folder: what was found once stays found, with any compiler.
#include <algorithm>
#include <cstdint>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <iterator>
#include <memory>
#include <vector>

// Where a target is compiled together with this, it says so too. NOLINTNEXTLINE(readability-redundant-declaration)
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size);

int main(int argument_count, char** arguments) {
    if (argument_count != 2 || !std::filesystem::is_directory(arguments[1])) {
        std::fprintf(stderr, "usage: %s CORPUS_FOLDER\n", arguments[0]);
        return 2;
    }
    std::vector<std::filesystem::path> files;
    for (const auto& entry : std::filesystem::directory_iterator(arguments[1])) files.push_back(entry.path());
    std::sort(files.begin(), files.end());
    for (const auto& path : files) {
        std::ifstream file(path, std::ios::binary);
        const std::vector<char> text{std::istreambuf_iterator<char>(file), {}};
        const auto exact = std::make_unique<std::uint8_t[]>(text.size()); // an overread of one byte faults under ASan
        std::copy(text.begin(), text.end(), exact.get());
        std::printf("%s\n", path.filename().c_str());
        std::fflush(stdout); // the last name printed is the one that crashed
        LLVMFuzzerTestOneInput(exact.get(), text.size());
    }
    std::printf("%zu files\n", files.size());
    return files.empty() ? 1 : 0;
}
