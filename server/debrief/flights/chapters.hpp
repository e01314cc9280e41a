#pragma once
/// The chapters of a recording: each is one vehicle from when it was ready, or the recording's start, until it was
/// ready again. A chapter with a liftoff is a flight. STREAM.md says what counts; the dashboard counts the same.
#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "server/record/by_name/recorded.hpp"
#include "shared/words.hpp"

namespace turnstone::debrief {

enum class Ended : unsigned char {
    touchdown,
    impact,          ///< down without a parachute
    presumed_down,   ///< silent from some moment of the flight on
    presumed_impact, ///< the same, and no parachute was seen when it was heard last
    under_way        ///< still flying when the recording ended, or now
};
consteval auto words_of(Ended) {
    return words<Ended::under_way>("touchdown", "impact", "presumed_down", "presumed_impact", "under_way");
}

struct ChapterPhase {
    std::string word;
    std::int64_t t_ns;
    double sigma_s;
    std::int64_t until_ns;
};

struct Chapter {
    std::size_t vehicle = 0;
    std::size_t number = 1; ///< of this vehicle in this recording
    Window window{};        ///< until the next chapter or the recording's end
    std::string name = {};  ///< what operators wrote: this and the next three
    std::string notes = {};
    std::vector<std::string> tags = {};
    std::string configuration = {};
    std::optional<std::int64_t> liftoff_ns = {}; ///< empty: not flown
    double liftoff_sigma_s = 0;                  ///< 1-sigma of the time; this and the next ones
    std::optional<std::int64_t> burnout_ns = {};
    double burnout_sigma_s = 0;
    std::optional<std::int64_t> apogee_ns = {};
    double apogee_sigma_s = 0;
    std::optional<std::int64_t> drogue_out_ns = {};
    double drogue_out_sigma_s = 0;
    std::optional<std::int64_t> main_out_ns = {};
    double main_out_sigma_s = 0;
    std::optional<std::int64_t> touchdown_ns = {};
    double touchdown_sigma_s = 0;
    std::vector<ChapterPhase> phases = {}; ///< from liftoff on
    Ended ended = Ended::under_way;        ///< of a flight

    /// From liftoff until it was down, was presumed to be, or the chapter ended.
    [[nodiscard]] Window flown() const;
    [[nodiscard]] std::optional<std::int64_t> began(std::string_view phase) const;
};

/// What a flight is called: as operators wrote, or else by its liftoff, "17 May 2026 14:32 UTC". The dashboard says the
/// same. A number would not do: only a folder of recordings knows how many there were before.
[[nodiscard]] std::string flight_name(const std::string& given, std::int64_t utc_liftoff_ns);

/// Of every vehicle, in the order of the vehicles and then of time, flown or not.
[[nodiscard]] std::vector<Chapter> chapters_in(const Recorded& recorded);

} // namespace turnstone::debrief
