#pragma once
/// The flights in a recording, each with its phases.
#include <optional>
#include <string>
#include <vector>

#include "server/record/by_name/recorded.hpp"

namespace turnstone::report {

struct FlightPhase {
    std::string word;
    std::int64_t t_ns;
    double sigma_s;
    std::int64_t until_ns;
};

struct Flight {
    std::size_t vehicle = 0;
    std::size_t number = 1; ///< of its chapter, and what it is called: see server/debrief/flights/chapters.hpp
    std::string name = {};
    bool is_named = false; ///< by an operator
    std::int64_t liftoff_ns = 0;
    double liftoff_sigma_s = 0;
    Window window{};                 ///< from a little before liftoff to rest after touchdown
    std::vector<FlightPhase> phases; ///< from liftoff on
    std::optional<std::int64_t> burnout_ns, apogee_ns, touchdown_ns;
    [[nodiscard]] std::optional<std::int64_t> began(std::string_view phase) const;
};

/// Of every vehicle, in the order of the vehicles and then of time. A liftoff that was withdrawn is none.
[[nodiscard]] std::vector<Flight> flights_in(const Recorded& recorded);

} // namespace turnstone::report
