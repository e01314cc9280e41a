#pragma once
/// Gauges of what people and the station said, of raised alerts and of procedures that were passed: all in the logbook.
#include <memory>
#include <string>
#include <vector>

#include "server/monitor/checks/gauge.hpp"
#include "server/monitor/checks/logbook.hpp"
#include "server/pipeline/checklist/check.hpp"

namespace turnstone {

/// Whose check it is.
struct CheckedVehicle {
    int index = 0;
    std::string name = {};
    std::vector<std::string> links = {}; ///< that carry it
};

// The logbook must outlive them.
[[nodiscard]] std::unique_ptr<Gauge> make_alert_gauge(const Check& check, CheckedVehicle vehicle, const Logbook& book);
[[nodiscard]] std::unique_ptr<Gauge> make_passed_gauge(std::string procedure, CheckedVehicle vehicle,
                                                       const Logbook& book);
/// 1: confirmed, 0: denied. With `since_begin`, only what was said since the check began.
[[nodiscard]] std::unique_ptr<Gauge> make_statement_gauge(std::string check, CheckedVehicle vehicle,
                                                          const Logbook& book, bool since_begin);
[[nodiscard]] std::unique_ptr<Gauge> make_entered_gauge(std::string name, CheckedVehicle vehicle, const Logbook& book);
[[nodiscard]] std::unique_ptr<Gauge> make_station_gauge(StationValue what, const Logbook& book);

} // namespace turnstone
