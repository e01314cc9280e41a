/// A procedure and a readiness board: whatever they say, they are refused with sentences, or give checks that a desk
/// can watch. One text is read as both, for the demo's vehicle.
#include <cstdint>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <string>

#include "server/monitor/desk.hpp"
#include "server/pipeline/checklist/mistakes.hpp"
#include "server/pipeline/station/pipeline.hpp"
#include "server/pipeline/vehicle_texts.hpp"
#include "shared/time.hpp"

namespace {

using namespace turnstone;

std::string contents(const std::string& path) {
    std::ifstream file(TURNSTONE_SOURCE_DIR "/" + path);
    return {std::istreambuf_iterator<char>(file), {}};
}

void demand(bool holds) {
    if (!holds) std::abort();
}

/// Made for each input: it cannot be copied.
VehicleSetup demo() {
    static const std::string dictionary = contents("tools/demo/sanderling/dictionary.json");
    static const std::string vehicle = contents("tools/demo/sanderling/vehicle.json");
    std::vector<Problem> problems;
    auto read = read_vehicle_texts(dictionary, vehicle, "demo", problems);
    demand(read.has_value());
    return *std::move(read);
}

void watch(PipelineSetup setup) {
    setup.links.push_back({.name = "radio", .uri = "", .vehicle = 0});
    constexpr std::int64_t kStartNs = 1'780'000'000 * kNsPerS;
    Pipeline pipeline(setup, kStartNs);
    pipeline.fly_one_prediction_in(0); // they take seconds here, and say nothing of a checklist
    std::vector<Problem> mistakes;
    find_checklist_mistakes(setup, pipeline.schema(), 0, "demo", mistakes);
    Batch out;
    for (const Procedure& procedure : setup.vehicles.front().procedures)
        pipeline.action(kStartNs, ProcedureCommand{"sanderling", procedure.id, ProcedureStep::begin, "KL"}, out);
    pipeline.advance(kStartNs + 2 * kNsPerS, out);
    for (const Action& action : pipeline.carried_actions()) demand(action_from_json(to_json(action)) == action);
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    const std::string text(reinterpret_cast<const char*>(data), size);
    for (const char* const name : {"readiness.json", "procedures/it.json"}) {
        std::vector<Problem> problems;
        PipelineSetup setup;
        setup.vehicles.push_back(demo());
        read_folder_file({.name = name, .text = text}, "demo", setup.vehicles.front(), problems);
        if (problems.empty())
            watch(std::move(setup));
        else
            demand(!to_string(problems).empty());
    }
    return 0;
}
