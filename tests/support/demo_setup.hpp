#pragma once
/// The setup that most tests of whole recordings use.
#include <stdexcept>
#include <utility>
#include <vector>

#include <nlohmann/json.hpp>

#include "server/pipeline/setup.hpp"
#include "server/pipeline/vehicle_texts.hpp"
#include "tests/support/tree.hpp"

namespace turnstone::test {

/// The demo's vehicle on one radio, and its site, with these files in the vehicle's folder besides.
inline PipelineSetup demo_setup(std::vector<FolderFile> files = {}) {
    PipelineSetup setup;
    std::vector<Problem> problems;
    auto vehicle =
        read_vehicle_texts(read_file(demo_path("sanderling/dictionary.json")),
                           read_file(demo_path("sanderling/vehicle.json")), "test", problems, std::move(files));
    setup.site_json = read_file(demo_path("site.json"));
    setup.site = read_site(*parse_json_text(setup.site_json, "site.json", problems), "site.json", problems);
    if (!vehicle || !problems.empty()) throw std::runtime_error(to_string(problems));
    setup.vehicles.push_back(std::move(*vehicle));
    setup.links.push_back({"radio", "serial:/dev/ttyUSB0?baud=57600", 0});
    return setup;
}

} // namespace turnstone::test
