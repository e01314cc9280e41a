// The arrows between folders, read from the #include lines themselves: what a link line cannot see (an include of a
// header alone) stops here.
#include <catch2/catch.hpp>

#include <map>
#include <set>
#include <string>

#include "tests/repository/tree_files.hpp"

using namespace turnstone::test;

namespace {

/// What each folder may include of ours, besides itself, from the ground up: a folder knows only folders that stand
/// above it in this list. Folders below one that is named belong to it.
const std::vector<std::pair<std::string, std::set<std::string>>> kMayInclude = {
    {"shared", {}},

    {"protocol/text", {}},
    {"protocol/packet", {"shared"}},
    {"protocol/coding", {"shared"}},
    {"protocol/pcap", {"protocol/coding"}},
    {"protocol/broker", {"shared"}},
    {"protocol/framing", {"shared", "protocol/text", "protocol/packet", "protocol/coding"}},
    {"protocol/space_link", {"protocol/packet", "protocol/coding", "protocol/framing"}},
    {"protocol/dictionary", {"shared", "protocol/text", "protocol/packet"}},
    {"protocol/decode", {"shared", "protocol/text", "protocol/packet", "protocol/dictionary"}},
    {"protocol/nmea", {"shared", "protocol/text", "protocol/packet", "protocol/dictionary", "protocol/decode"}},
    {"protocol/xtce", {"shared", "protocol/text", "protocol/dictionary"}},
    {"protocol/lines",
     {"shared", "protocol/text", "protocol/packet", "protocol/framing", "protocol/dictionary", "protocol/decode"}},
    {"protocol/packet_radio",
     {"shared", "protocol/text", "protocol/packet", "protocol/dictionary", "protocol/decode", "protocol/nmea"}},
    {"protocol/reading",
     {"protocol/packet", "protocol/framing", "protocol/space_link", "protocol/dictionary", "protocol/decode",
      "protocol/nmea", "protocol/lines", "protocol/packet_radio"}},
    {"protocol/firmware", {"protocol/packet", "protocol/framing", "protocol/dictionary"}},

    {"server/estimate/math", {"shared"}},
    {"server/estimate", {"shared"}},
    {"server/estimate/sensors", {"shared", "server/estimate", "server/estimate/math"}},
    {"server/estimate/air", {"shared", "server/estimate/math"}},
    {"server/estimate/smoothing", {"server/estimate/math"}},
    {"server/estimate/vertical", {"shared", "server/estimate", "server/estimate/math", "server/estimate/smoothing"}},
    {"server/estimate/phases", {"shared", "server/estimate", "server/estimate/math", "server/estimate/vertical"}},
    {"server/estimate/translation",
     {"shared", "server/estimate", "server/estimate/math", "server/estimate/smoothing", "server/estimate/sensors"}},
    {"server/estimate/navigation",
     {"shared", "server/estimate", "server/estimate/math", "server/estimate/sensors", "server/estimate/vertical",
      "server/estimate/translation", "server/estimate/smoothing"}},
    {"server/estimate/prediction",
     {"shared", "server/estimate", "server/estimate/math", "server/estimate/air", "server/estimate/navigation",
      "server/estimate/phases"}},
    {"server/estimate/chain",
     {"shared", "server/estimate", "server/estimate/math", "server/estimate/sensors", "server/estimate/air",
      "server/estimate/smoothing", "server/estimate/vertical", "server/estimate/phases", "server/estimate/translation",
      "server/estimate/navigation", "server/estimate/prediction"}},

    {"server/analysis/statistics", {}},
    {"server/analysis/ensemble", {"server/analysis/statistics"}},
    {"server/analysis/performance", {"server/analysis/statistics", "server/analysis/ensemble"}},
    {"server/analysis/shock", {}},
    {"server/analysis/alignment", {"shared"}},
    {"server/analysis/mass", {"shared", "server/analysis/statistics"}},
    {"server/analysis/charge", {"shared", "server/analysis/statistics"}},
    {"server/analysis/signal", {"server/analysis/statistics"}},
    {"server/analysis/identify", {"server/analysis/statistics", "server/analysis/signal"}},
    {"server/analysis/guidance", {"shared", "server/analysis/statistics"}},

    {"server/pipeline",
     {"shared", "protocol/text", "protocol/framing", "protocol/dictionary", "protocol/decode", "server/estimate",
      "server/estimate/prediction"}},
    {"server/monitor/condition.hpp", {"server/estimate"}},
    {"server/monitor/checks", {"shared", "server/estimate", "server/pipeline"}},
    {"server/monitor/procedures", {"server/pipeline", "server/monitor/checks"}},
    {"server/monitor/readiness", {"shared", "server/pipeline", "server/monitor/checks"}},
    {"server/monitor/flight",
     {"shared", "protocol/dictionary", "server/estimate", "server/estimate/phases", "server/estimate/prediction",
      "server/pipeline", "server/monitor/condition.hpp"}},
    {"server/monitor/charges",
     {"shared", "protocol/dictionary", "server/analysis/charge", "server/estimate", "server/pipeline",
      "server/monitor/flight"}},
    {"server/monitor",
     {"shared", "protocol/dictionary", "server/estimate", "server/estimate/phases", "server/pipeline",
      "server/monitor/condition.hpp", "server/monitor/flight", "server/monitor/charges", "server/monitor/procedures",
      "server/monitor/readiness"}},
    {"server/pipeline/vehicle",
     {"shared", "protocol/packet", "protocol/dictionary", "protocol/decode", "server/estimate", "server/estimate/chain",
      "server/pipeline"}},
    {"server/pipeline/link",
     {"shared", "protocol/framing", "protocol/packet", "protocol/reading", "server/pipeline",
      "server/pipeline/vehicle"}},
    {"server/pipeline/station",
     {"shared", "protocol/text", "server/estimate/chain", "server/pipeline", "server/monitor", "server/pipeline/link",
      "server/pipeline/vehicle"}},

    {"server/broker", {"shared"}},
    {"server/link", {"shared", "protocol/pcap", "protocol/broker", "server/broker"}},
    {"server/setup",
     {"shared", "protocol/framing", "protocol/nmea", "protocol/lines", "protocol/packet_radio", "protocol/reading",
      "server/broker", "server/pipeline", "server/link"}},

    {"server/record/format", {"shared", "protocol/text", "server/pipeline"}},
    {"server/record/write", {"shared", "server/pipeline", "server/record/format"}},
    {"server/record/read", {"shared", "server/pipeline", "server/record/format", "server/record/write"}},
    {"server/record/by_name", {"shared", "server/record/read"}},
    {"server/record/amend",
     {"shared", "server/pipeline", "server/pipeline/station", "server/record/format", "server/record/read",
      "server/record/write"}},
    {"server/record",
     {"shared", "server/pipeline", "server/pipeline/station", "server/record/format", "server/record/write",
      "server/record/read"}},

    {"server/debrief", {"shared"}},
    {"server/debrief/flights",
     {"shared", "server/record/format", "server/record/write", "server/record/read", "server/record/by_name",
      "server/debrief"}},
    {"server/debrief/response",
     {"shared", "server/analysis/statistics", "server/analysis/signal", "server/analysis/identify",
      "server/analysis/guidance", "server/debrief", "server/debrief/flights"}},
    {"server/debrief/comparison",
     {"shared", "server/analysis/statistics", "server/analysis/ensemble", "server/estimate/air",
      "server/estimate/prediction", "server/debrief", "server/debrief/flights"}},
    {"server/debrief/smoothing",
     {"shared", "server/estimate/math", "server/estimate/smoothing", "server/estimate/navigation",
      "server/estimate/chain", "server/pipeline/station", "server/record", "server/debrief", "server/debrief/flights"}},
    {"server/debrief/performance",
     {"shared", "server/estimate/air", "server/analysis/ensemble", "server/analysis/performance",
      "server/analysis/mass", "server/pipeline", "server/debrief", "server/debrief/flights",
      "server/debrief/smoothing"}},

    {"server/exchange/table", {"shared", "server/record/read"}},
    {"server/exchange/write", {"shared", "server/record/read", "server/debrief", "server/exchange/table"}},
    {"server/exchange/import",
     {"shared", "protocol/text", "protocol/framing", "protocol/dictionary", "protocol/lines", "protocol/decode",
      "protocol/reading", "server/analysis/alignment", "server/pipeline", "server/pipeline/vehicle",
      "server/pipeline/link", "server/pipeline/station", "server/link", "server/record/read", "server/record/write",
      "server/record", "server/debrief", "server/debrief/flights"}},
    {"server/exchange",
     {"shared", "server/record/read", "server/debrief", "server/exchange/table", "server/exchange/write"}},

    {"server/report/text", {"shared"}},
    {"server/report/page", {"protocol/text"}},
    {"server/report/draw", {"server/record/by_name", "server/report/text", "server/report/page"}},
    {"server/report/chapters",
     {"shared", "server/analysis/mass", "server/record/by_name", "server/debrief/flights", "server/report/text",
      "server/report/page"}},
    {"server/report/flight",
     {"shared", "server/estimate/prediction", "server/record/by_name", "server/debrief/flights",
      "server/debrief/comparison", "server/debrief/performance", "server/report/text", "server/report/page",
      "server/report/draw", "server/report/chapters"}},
    {"server/report/ground",
     {"shared", "server/analysis/statistics", "server/analysis/charge", "server/analysis/shock", "server/pipeline",
      "server/record/read", "server/record/by_name", "server/report/text", "server/report/page", "server/report/draw",
      "server/report/chapters"}},
    {"server/report",
     {"shared", "server/record/read", "server/report/text", "server/report/page", "server/report/chapters",
      "server/report/flight", "server/report/ground"}},

    {"server/serve/parse", {"shared", "server/pipeline"}},
    {"server/serve/map", {"shared", "server/record/format", "server/serve/parse"}},
    {"server/serve/desk", {"server/pipeline"}},
    {"server/serve",
     {"shared", "server/pipeline", "server/record/format", "server/record/read", "server/record/write",
      "server/debrief", "server/serve/map", "server/serve/desk"}},
    {"server/serve/encode",
     {"shared", "protocol/dictionary", "server/pipeline", "server/record/read", "server/record/write",
      "server/serve/parse", "server/serve"}},
    {"server/serve/stream",
     {"shared", "server/pipeline", "server/record/read", "server/serve/parse", "server/serve", "server/serve/encode"}},
    {"server/serve/http",
     {"shared",
      "server/analysis/shock",
      "server/record/format",
      "server/record/read",
      "server/record/write",
      "server/record/by_name",
      "server/record/amend",
      "server/record",
      "server/debrief",
      "server/debrief/flights",
      "server/debrief/comparison",
      "server/debrief/smoothing",
      "server/debrief/performance",
      "server/debrief/response",
      "server/exchange",
      "server/exchange/import",
      "server/report",
      "server/report/ground",
      "server/serve/parse",
      "server/serve/map",
      "server/serve",
      "server/serve/encode"}},
    {"server/serve/port",
     {"shared", "server/pipeline", "server/debrief/flights", "server/serve/parse", "server/serve",
      "server/serve/stream", "server/serve/http"}},

    {"server/publish",
     {"shared", "protocol/broker", "server/pipeline", "server/broker", "server/link", "server/record/format",
      "server/record/read"}},
    {"server/live_out",
     {"shared", "protocol/nmea", "server/pipeline", "server/broker", "server/serve", "server/exchange/write"}},
    {"server/ingest",
     {"shared", "server/pipeline", "server/pipeline/link", "server/pipeline/station", "server/link",
      "server/record/format", "server/record/read", "server/record/write", "server/record", "server/serve"}},
    {"server/commands",
     {"shared",
      "protocol/nmea",
      "protocol/xtce",
      "protocol/reading",
      "protocol/firmware",
      "server/analysis/mass",
      "server/pipeline",
      "server/pipeline/station",
      "server/pipeline/vehicle",
      "server/setup",
      "server/record/read",
      "server/record/write",
      "server/record",
      "server/exchange",
      "server/exchange/import",
      "server/report",
      "server/report/text",
      "server/serve",
      "server/serve/map",
      "server/serve/port",
      "server/publish",
      "server/live_out",
      "server/ingest"}},
    {"server/main.cpp", {"server/commands"}},
    {"tools/write_manual.cpp", {"server/commands"}},

    {"tools/sim/truth", {"shared"}},
    {"tools/sim/radio", {"shared", "tools/sim/truth"}},
    {"tools/sim/surface", {"shared", "protocol/framing", "tools/sim/truth", "tools/sim/radio"}},
    {"tools/sim/scenario", {"shared", "tools/sim/truth", "tools/sim/radio"}},
    {"tools/sim/avionics", {"shared", "tools/sim/truth", "tools/sim/radio", "tools/sim/scenario"}},
    {"tools/sim/steering", {"shared", "tools/sim/scenario", "tools/sim/avionics"}},
    {"tools/sim",
     {"protocol/packet", "protocol/framing", "protocol/packet_radio", "tools/sim/radio", "tools/sim/scenario",
      "tools/sim/avionics", "tools/sim/steering"}},
    {"tools/simulate.cpp", {"shared", "protocol/packet_radio", "tools/sim", "tools/sim/radio", "tools/sim/surface"}},
    {"tools/trials",
     {"shared", "server/estimate", "server/estimate/math", "server/pipeline", "server/pipeline/station", "tools/sim",
      "tools/sim/avionics", "tools/sim/scenario", "tools/sim/truth"}},
    {"tools/trials/debrief",
     {"shared", "server/estimate/math", "server/estimate/navigation", "server/pipeline", "server/pipeline/station",
      "server/record/write", "server/debrief", "server/debrief/performance", "server/debrief/response", "tools/sim",
      "tools/trials"}},
    {"tools/look_at_flights.cpp", {"tools/trials"}},
    {"tools/firmware_header.cpp", {"protocol/firmware"}},
    {"tools/write_example_settings.cpp", {"server/setup"}},
    {"tools/benchmarks",
     {"shared",
      "protocol/packet",
      "protocol/coding",
      "protocol/framing",
      "protocol/space_link",
      "protocol/dictionary",
      "protocol/decode",
      "protocol/nmea",
      "protocol/lines",
      "protocol/reading",
      "server/estimate/chain",
      "server/estimate/prediction",
      "server/pipeline",
      "server/pipeline/station",
      "server/record/format",
      "server/record/read",
      "server/record/write",
      "server/exchange",
      "server/exchange/import",
      "server/serve/port",
      "tools/sim",
      "tools/trials",
      "tools/trials/debrief"}},
};

/// The entry that a path such as "server/link/link.hpp" belongs to; empty when it is not ours.
std::string layer_of(const std::string& path) {
    std::string best;
    for (const auto& [folder, allowed] : kMayInclude)
        if ((path == folder || path.rfind(folder + "/", 0) == 0) && folder.size() > best.size()) best = folder;
    return best;
}

std::vector<std::string> sources() {
    std::vector<std::string> all;
    for (const char* top : {"shared", "protocol", "server", "tools"})
        for (std::string& path : files_below(top, {".hpp", ".cpp"})) all.push_back(std::move(path));
    return all;
}

} // namespace

TEST_CASE("the list of layers is in their order and names what there is") {
    std::set<std::string> above;
    for (const auto& [folder, allowed] : kMayInclude) {
        for (const std::string& other : allowed) {
            INFO(folder << " may include " << other << ", which does not stand above it");
            CHECK(above.contains(other));
        }
        above.insert(folder);
    }
    std::set<std::string> in_use;
    for (const std::string& path : sources()) {
        INFO(path << " belongs to no layer; add its folder");
        CHECK(!layer_of(path).empty());
        in_use.insert(layer_of(path));
    }
    for (const auto& [folder, allowed] : kMayInclude) {
        INFO(folder << " has no source");
        CHECK(in_use.contains(folder));
    }
}

TEST_CASE("a folder includes only the folders below it, and every arrow that is allowed is used") {
    std::map<std::string, std::set<std::string>> unused(kMayInclude.begin(), kMayInclude.end());
    const std::map<std::string, std::set<std::string>> may_include(kMayInclude.begin(), kMayInclude.end());
    for (const std::string& path : sources()) {
        const std::string layer = layer_of(path);
        for (const std::string& target : includes_of(path)) {
            if (target.find('/') == std::string::npos) continue; // generated, or C beside it
            const std::string below = layer_of(target);
            INFO(path << " includes " << target);
            CHECK((below == layer || may_include.at(layer).contains(below)));
            unused[layer].erase(below);
        }
    }
    for (const auto& [layer, rest] : unused)
        for (const std::string& other : rest) {
            INFO(layer << " includes nothing of " << other << "; take the arrow away");
            CHECK(false);
        }
}
