#include "server/report/ground/earlier_tests.hpp"

#include <algorithm>
#include <limits>

#include <fmt/format.h>

#include "server/record/read/catalogue.hpp"
#include "server/report/ground/procedure_run.hpp"
#include "server/report/text/figure.hpp"

namespace turnstone::report {

namespace {

constexpr std::size_t kEarlierMost = 12;
/// Recordings that are opened to find them.
constexpr std::size_t kOpenedMost = 60;

/// With hyphens at which a line does not end.
std::string unbroken_date(std::int64_t utc_ns) {
    std::string date = utc_date(utc_ns);
    for (std::size_t at = 0; (at = date.find('-', at)) != std::string::npos;) date.replace(at, 1, "\u2011");
    return date;
}

/// "Test 2, 2026-05-02"; without a procedure around it, the day and time alone.
std::string label_of(const Recorded& recorded, std::size_t vehicle, std::int64_t t_ns) {
    for (const ProcedureRun& run : procedure_runs(recorded))
        if (run.vehicle == vehicle && t_ns >= run.window.from_ns && t_ns < run.window.to_ns)
            return fmt::format("Test {:.0f}, {}", run.number, unbroken_date(recorded.utc_ns(t_ns)));
    return unbroken_date(recorded.utc_ns(t_ns)) + " " + utc_time(recorded.utc_ns(t_ns));
}

bool is_in_flight(const Firing& firing) {
    return firing.row.value("in_flight") == 1;
}

/// Copies a row to the columns of this recording's table, by name: the other table goes with its reader.
RowValues carried_over(const RowValues& row, const Table& table) {
    std::vector<double> numbers;
    for (std::size_t i = 0; i < table.number_count; ++i) numbers.push_back(row.value(table.columns[i].name));
    return {table, row.t_ns(), std::move(numbers)};
}

void add_firings(const Recorded& other, const Recorded& recorded, const Firing& firing, bool in_flight,
                 std::vector<EarlierFiring>& out) {
    const std::string& name = recorded.vehicle_name(firing.vehicle);
    for (std::size_t vehicle = 0; vehicle < other.setup().vehicles.size(); ++vehicle) {
        if (other.vehicle_name(vehicle) != name) continue;
        auto firings = firings_in(other, vehicle, other.whole());
        std::ranges::reverse(firings);
        for (const Firing& earlier : firings)
            if (earlier.charge == firing.charge && is_in_flight(earlier) == in_flight &&
                other.utc_ns(earlier.row.t_ns()) < recorded.utc_ns(firing.row.t_ns()) && out.size() < kEarlierMost)
                out.push_back({label_of(other, vehicle, earlier.row.t_ns()),
                               carried_over(earlier.row, firing.row.table()), shock_of(other, earlier)});
    }
}

} // namespace

std::vector<EarlierFiring> earlier_firings(const Recorded& recorded, const Firing& firing,
                                           const std::filesystem::path& path) {
    std::vector<EarlierFiring> earlier;
    const bool in_flight = is_in_flight(firing);
    add_firings(recorded, recorded, firing, in_flight, earlier);
    std::size_t opened = 0;
    const std::filesystem::path folder = path.has_parent_path() ? path.parent_path() : ".";
    for (const RecordingInfo& info : scan_recordings(folder)) {
        if (info.id == recorded.info().id || info.utc_start_ns >= recorded.info().utc_start_ns || !info.damage.empty())
            continue;
        if (++opened > kOpenedMost || earlier.size() >= kEarlierMost) break;
        auto reader = RecordingReader::open(info.path);
        if (!reader) continue;
        add_firings(Recorded(*reader), recorded, firing, in_flight, earlier);
    }
    return earlier;
}

} // namespace turnstone::report
