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
    Scores scores;
};

std::filesystem::path slice_path(const std::filesystem::path& folder, const std::string& case_name,
                                 std::uint64_t first) {
    return folder / (case_name + "-" + std::to_string(first) + kEnding);
}

std::optional<Slice> read_slice(const std::filesystem::path& path) {
    std::ifstream file(path, std::ios::binary);
    Slice slice;
    std::size_t size = 0, count = 0;
    if (!(file >> slice.build >> slice.first >> size >> count) || file.get() != '\n') return std::nullopt;
    if (size != sizeof(TrialScore) || count > kSliceFlights) return std::nullopt;
    slice.scores.resize(count);
    const auto bytes = static_cast<std::streamsize>(count * sizeof(TrialScore));
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

bool has_slice(const std::filesystem::path& folder, const std::string& case_name, std::uint64_t first,
               std::size_t flights) {
    const auto slice = read_slice(slice_path(folder, case_name, first));
    return slice && slice->build == this_build() && slice->first == first && slice->scores.size() >= flights;
}

void write_slice(const std::filesystem::path& folder, const std::string& case_name, std::uint64_t first,
                 const Scores& scores) {
    std::filesystem::create_directories(folder);
    const std::filesystem::path path = slice_path(folder, case_name, first), draft = path.string() + ".draft";
    {
        std::ofstream file(draft, std::ios::binary);
        file << this_build() << ' ' << first << ' ' << sizeof(TrialScore) << ' ' << scores.size() << '\n';
        file.write(reinterpret_cast<const char*>(scores.data()),
                   static_cast<std::streamsize>(scores.size() * sizeof(TrialScore)));
        file.close();
        if (!file) throw std::runtime_error("cannot write " + draft.string());
    }
    std::filesystem::rename(draft, path);
}

Collected collect(const std::filesystem::path& folder, const std::string& case_name) {
    std::map<std::uint64_t, TrialScore> by_seed;
    Collected out;
    if (!std::filesystem::exists(folder)) return out;
    for (const auto& entry : std::filesystem::directory_iterator(folder)) {
        const std::string name = entry.path().filename().string(), before = case_name + "-";
        // Of names that go on differently ("baro-1", "baro-10") only the seed's digits may follow.
        if (!name.starts_with(before) || !name.ends_with(kEnding)) continue;
        const std::string seed = name.substr(before.size(), name.size() - before.size() - std::string(kEnding).size());
        if (seed.empty() || seed.find_first_not_of("0123456789") != std::string::npos) continue;
        const auto slice = read_slice(entry.path());
        if (!slice) continue;
        out.builds.insert(slice->build);
        for (std::size_t k = 0; k < slice->scores.size(); ++k) by_seed[slice->first + k] = slice->scores[k];
    }
    for (const auto& [seed, score] : by_seed) out.scores.push_back(score);
    return out;
}

} // namespace turnstone::trials
