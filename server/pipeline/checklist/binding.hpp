#pragma once
/// Where a check finds its values in a schema and its events, and what it measures: unit, digits, words. The one place
/// that knows what is wrong with the names in a check.
#include <cstddef>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "server/pipeline/checklist/check.hpp"
#include "server/pipeline/events.hpp"
#include "server/pipeline/series.hpp"
#include "server/pipeline/setup.hpp"

namespace turnstone {

/// Columns of one table: their places among its numbers, or among its texts.
struct BoundColumns {
    TableId table = 0;
    std::vector<std::size_t> places = {};
};

/// What is wrong with a check's names, for turnstone check. `member` is the check's.
struct BindingMistake {
    std::string member, wrong, right;
};

struct CheckBinding {
    std::vector<BoundColumns> value = {}; ///< several: links, of which the best counts
    std::optional<BoundColumns> from = {};
    std::string unit = "1"; ///< of what is measured
    int decimals = 0;
    Enumeration words = {};        ///< of the value, where it has some
    double period_s = 0;           ///< of the value's table; 0: sporadic
    double reference = 0;          ///< of Check::from_reference
    std::string text = {};         ///< of says: what the column is to say
    bool from_predictions = false; ///< rests on rows or alerts that are not made where predictions are passed over
    std::string why_not = {};      ///< it cannot be evaluated, for a person; empty: it can
    std::vector<BindingMistake> mistakes = {};
};

/// `vehicle`: place in `setup` of the one that the check is about. `schema` has every table but those of checks.
[[nodiscard]] CheckBinding bind_check(const Check& check, const PipelineSetup& setup, const Schema& schema,
                                      std::size_t vehicle);

/// What a value is compared with; empty: the site file does not say.
[[nodiscard]] std::optional<double> reference_value(Reference reference, const Site& site);
/// Whether an event of the vehicle, or of none, is the one that a check names. Of alerts only the raising counts.
[[nodiscard]] bool is_meant(const EventRef& ref, const Event& event, int vehicle) noexcept;

/// "m/s" of "wind_gust_mps"; empty: the name does not end in a unit.
[[nodiscard]] std::string unit_of_name(std::string_view name);
/// "Wind gust" of "wind_gust_mps".
[[nodiscard]] std::string title_of_name(std::string_view name);

} // namespace turnstone
