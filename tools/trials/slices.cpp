#include "tools/trials/slices.hpp"

#include <array>
#include <cstdio>
#include <fstream>
#include <map>
#include <optional>
#include <stdexcept>

namespace turnstone::trials {

namespace {

constexpr const char* kEnding = ".scores";

struct Slice {
    std::string build;
    std::uint64_t first = 0;
    std::vector<std::byte> scores;
};

std::filesystem::path slice_path(const std::filesystem::path& folder, const std::string& case_name,
                                 std::uint64_t first) {
    return folder / (case_name + "-" + std::to_string(first) + kEnding);
}

std::optional<Slice> read_slice(const std::filesystem::path& path, std::size_t score_size) {
    std::ifstream file(path, std::ios::binary);
    Slice slice;
    std::size_t size = 0, count = 0;
    if (!(file >> slice.build >> slice.first >> size >> count) || file.get() != '\n') return std::nullopt;
    if (size != score_size || count > kSliceFlights) return std::nullopt;
    slice.scores.resize(count * score_size);
    const auto bytes = static_cast<std::streamsize>(slice.scores.size());
    file.read(reinterpret_cast<char*>(slice.scores.data()), bytes);
    return file.gcount() == bytes ? std::optional(std::move(slice)) : std::nullopt;
}

} // namespace

std::string this_build() {
    static const std::string kBuild = [] {
        std::ifstream file("/proc/self/exe", std::ios::binary);
        std::uint64_t hash = 0xcbf29ce484222325; // FNV-1a
        std::array<char, 65536> part{};
        while (file.read(part.data(), part.size()), file.gcount() > 0)
            for (std::streamsize k = 0; k < file.gcount(); ++k)
                hash = (hash ^ static_cast<unsigned char>(part[static_cast<std::size_t>(k)])) * 0x100000001b3;
        std::array<char, 20> out{};
        std::snprintf(out.data(), out.size(), "%016llx", static_cast<unsigned long long>(hash));
        return std::string(out.data());
    }();
    return kBuild;
}

namespace slices {

bool has(const std::filesystem::path& folder, const std::string& case_name, std::uint64_t first, std::size_t flights,
         std::size_t score_size) {
    const auto slice = read_slice(slice_path(folder, case_name, first), score_size);
    return slice && slice->build == this_build() && slice->first == first &&
           slice->scores.size() >= flights * score_size;
}

void write(const std::filesystem::path& folder, const std::string& case_name, std::uint64_t first,
           std::span<const std::byte> scores, std::size_t score_size) {
    std::filesystem::create_directories(folder);
    const std::filesystem::path path = slice_path(folder, case_name, first), draft = path.string() + ".draft";
    {
        std::ofstream file(draft, std::ios::binary);
        file << this_build() << ' ' << first << ' ' << score_size << ' ' << scores.size() / score_size << '\n';
        file.write(reinterpret_cast<const char*>(scores.data()), static_cast<std::streamsize>(scores.size()));
        file.close();
        if (!file) throw std::runtime_error("cannot write " + draft.string());
    }
    std::filesystem::rename(draft, path);
}

Collected<std::byte> collect(const std::filesystem::path& folder, const std::string& case_name,
                             std::size_t score_size) {
    std::map<std::uint64_t, std::vector<std::byte>> by_seed;
    Collected<std::byte> out;
    if (!std::filesystem::exists(folder)) return out;
    for (const auto& entry : std::filesystem::directory_iterator(folder)) {
        const std::string name = entry.path().filename().string(), before = case_name + "-";
        // Of names that go on differently ("baro-1", "baro-10") only the seed's digits may follow.
        if (!name.starts_with(before) || !name.ends_with(kEnding)) continue;
        const std::string seed = name.substr(before.size(), name.size() - before.size() - std::string(kEnding).size());
        if (seed.empty() || seed.find_first_not_of("0123456789") != std::string::npos) continue;
        const auto slice = read_slice(entry.path(), score_size);
        if (!slice) continue;
        out.builds.insert(slice->build);
        const std::span bytes(slice->scores);
        for (std::size_t k = 0; (k + 1) * score_size <= bytes.size(); ++k) {
            const auto one = bytes.subspan(k * score_size, score_size);
            by_seed[slice->first + k].assign(one.begin(), one.end());
        }
    }
    for (const auto& [seed, score] : by_seed) out.scores.insert(out.scores.end(), score.begin(), score.end());
    return out;
}

} // namespace slices

} // namespace turnstone::trials
