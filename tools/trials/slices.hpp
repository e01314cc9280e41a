#pragma once
/// Scores of flights in files, ten flights each, so that tables can be flown in slices, beside other work, and printed
/// from whatever is there.
///
/// FOLDER/CASE-SEED.scores: one line of text with what follows, then the scores as they are in memory. They are read by
/// the same program, or by one whose scores have the same shape, and by nothing else.
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <filesystem>
#include <set>
#include <span>
#include <string>
#include <type_traits>
#include <vector>

namespace turnstone::trials {

inline constexpr std::uint64_t kSliceFlights = 10;

/// What the running program's file hashes to: flights by two builds of the estimators are not the same.
[[nodiscard]] std::string this_build();

/// Of `Score`s, which are plain bytes.
template <class Score>
struct Collected {
    std::vector<Score> scores; ///< in the order of their seeds
    std::set<std::string> builds;
};

namespace slices {
[[nodiscard]] bool has(const std::filesystem::path& folder, const std::string& case_name, std::uint64_t first,
                       std::size_t flights, std::size_t score_size);
void write(const std::filesystem::path& folder, const std::string& case_name, std::uint64_t first,
           std::span<const std::byte> scores, std::size_t score_size);
[[nodiscard]] Collected<std::byte> collect(const std::filesystem::path& folder, const std::string& case_name,
                                           std::size_t score_size);
} // namespace slices

/// True when this build flew those seeds already.
template <class Score>
[[nodiscard]] bool has_slice(const std::filesystem::path& folder, const std::string& case_name, std::uint64_t first,
                             std::size_t flights) {
    return slices::has(folder, case_name, first, flights, sizeof(Score));
}

/// Throws std::runtime_error when the file cannot be written. A slice is there whole or not at all.
template <class Score>
void write_slice(const std::filesystem::path& folder, const std::string& case_name, std::uint64_t first,
                 const std::vector<Score>& scores) {
    static_assert(std::is_trivially_copyable_v<Score>);
    slices::write(folder, case_name, first, std::as_bytes(std::span(scores)), sizeof(Score));
}

/// All slices of a case. Those whose scores have another shape are left out.
template <class Score>
[[nodiscard]] Collected<Score> collect(const std::filesystem::path& folder, const std::string& case_name) {
    const Collected<std::byte> bytes = slices::collect(folder, case_name, sizeof(Score));
    Collected<Score> out{std::vector<Score>(bytes.scores.size() / sizeof(Score)), bytes.builds};
    if (!out.scores.empty()) std::memcpy(out.scores.data(), bytes.scores.data(), bytes.scores.size());
    return out;
}

} // namespace turnstone::trials
