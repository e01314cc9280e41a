#pragma once
/// mass.csv of a vehicle's folder: what each part was to weigh, what it weighs, where it sits. A line a weighing; a
/// part's newest counts and the older ones are its history. Columns, in any order, those with a * in every file:
///
///   part*              its name
///   like               parts with the same word here are alike and are compared in pairs
///   burns              yes for propellant, which is gone at burnout; else no or empty
///   target_kg          the budget for it; empty: none
///   mass_kg*           as weighed; empty: not weighed yet
///   mass_sigma_kg      standard uncertainty of that: scale and repeatability, one standard deviation
///   station_m          its centre of mass along the axis, from the nose tip aft; empty: not known
///   station_sigma_m
///   off_axis_y_m, off_axis_z_m  its centre of mass across the axis; empty: on the axis
///   roll_inertia_kg_m2, pitch_inertia_kg_m2  its own inertia about its own centre, about the axis and across it
///   pitch_inertia_sigma_kg_m2
///   weighed_on         date, as ISO 8601 has it: 2026-05-17
///   note
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "server/analysis/statistics/summary.hpp"
#include "shared/json_reader.hpp"

namespace turnstone::analysis {

/// A line of the file. NaN: empty.
struct Weighing {
    std::string part = {};
    std::string like = {};
    bool burns = false;
    double target_kg = kNone;
    double mass_kg = kNone, mass_sigma_kg = kNone;
    double station_m = kNone, station_sigma_m = kNone;
    double off_axis_y_m = kNone, off_axis_z_m = kNone;
    double roll_inertia_kg_m2 = kNone, pitch_inertia_kg_m2 = kNone, pitch_inertia_sigma_kg_m2 = kNone;
    std::string weighed_on = {};
    std::string note = {};
};

inline constexpr std::size_t kWeighingsMax = 10'000;
/// Characters of a name, a date, a note.
inline constexpr std::size_t kMassTextMax = 200;

/// Reports every mistake with its line and column. Empty when any was added. Texts with control characters and texts
/// that a spreadsheet would take for a formula are mistakes.
[[nodiscard]] std::optional<std::vector<Weighing>> read_mass_csv(std::string_view text, const std::string& file,
                                                                 std::vector<Problem>& problems);

/// The same as a file, every column there is. Reading gives back what was written.
[[nodiscard]] std::string write_mass_csv(const std::vector<Weighing>& weighings);

} // namespace turnstone::analysis
