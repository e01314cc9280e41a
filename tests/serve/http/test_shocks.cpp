/// Shock response spectra of a recording's firings over HTTP.
#include <catch2/catch.hpp>

#include <cmath>
#include <numbers>
#include <vector>

#include <nlohmann/json.hpp>

#include "tests/report/made_recordings.hpp"
#include "tests/serve/fixture.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone;
using nlohmann::json;
using report_test::HandMade;

namespace {

/// A closed recording with a half-sine shock of 100 m/s2 and 11 ms at the firing, 1000 readings a second.
std::string record_shock(const test::TemporaryFolder& folder, bool with_hole) {
    HandMade made(report_test::demo_setup());
    report_test::add_charge_tables(made);
    constexpr double kFired_s = 20;
    for (int ms = -50; ms < 300; ++ms) {
        if (with_hole && ms >= 30 && ms < 40) continue;
        const double shock = ms < 0 || ms > 11 ? 0 : 100 * std::sin(std::numbers::pi * ms / 11);
        made.row("sanderling/burst.samples", kFired_s + 1e-3 * ms, {{"axial_acceleration", 9.8 + shock}});
    }
    made.row("sanderling/charge/drogue", kFired_s, {{"lid_off", 0.0186}});
    return made.record(folder, 60).stem().string();
}

/// Between two frequencies as a straight line of the logarithms.
double on_curve(const json& shock, double natural_hz) {
    const auto frequency = shock.at("natural_hz").get<std::vector<double>>();
    const auto peak = shock.at("peak_mps2").get<std::vector<double>>();
    const auto i = static_cast<std::size_t>(std::ranges::upper_bound(frequency, natural_hz) - frequency.begin());
    const double part = std::log(natural_hz / frequency.at(i - 1)) / std::log(frequency.at(i) / frequency.at(i - 1));
    return peak.at(i - 1) * std::pow(peak.at(i) / peak.at(i - 1), part);
}

} // namespace

TEST_CASE("the shock of a firing is answered with its spectrum: that of the closed form of a half-sine") {
    const LiveServer live({}, false);
    const std::string target = "/api/recordings/" + record_shock(live.folder, false) + "/shocks";
    const HttpReply reply = live.get(target);
    REQUIRE(reply.status == 200);
    const json answer = json::parse(reply.body);
    CHECK(answer.at("q") == 10);
    REQUIRE(answer.at("shocks").size() == 1);
    const json& shock = answer.at("shocks")[0];
    CHECK(shock.at("vehicle") == 0);
    CHECK(shock.at("charge") == "drogue");
    CHECK(shock.at("t_s").get<double>() == Approx(20).margin(1e-6));
    std::size_t checked = 0;
    for (const auto& one : test::reference_cases("numerics2/srs.json", "spectrum_closed_form")) {
        const json& inputs = one.at("inputs");
        if (inputs.at("pulse") != "half_sine" || inputs.at("Q") != 10) continue;
        REQUIRE(inputs.at("duration_s") == 0.011);
        for (const json& row : one.at("expected").at("rows")) {
            const double natural_hz = row[0].get<double>();
            if (natural_hz > 80) continue; // a tenth of the rate is the end
            INFO(natural_hz << " Hz");
            CHECK(on_curve(shock, natural_hz) == Approx(row[1].get<double>()).epsilon(0.02));
            ++checked;
        }
    }
    CHECK(checked >= 5);
}

TEST_CASE("a shock whose record has a hole has no spectrum, and a recording without firings no shocks") {
    const LiveServer live({}, false);
    const std::string begin = "/api/recordings/";
    const json holed = json::parse(live.get(begin + record_shock(live.folder, true) + "/shocks").body);
    REQUIRE(holed.at("shocks").size() == 1);
    CHECK(holed.at("shocks")[0].at("natural_hz").empty());
    CHECK(holed.at("shocks")[0].at("peak_mps2").empty());
    const std::string flight = begin + record_flight(live.folder.path()) + "/shocks";
    CHECK(json::parse(live.get(flight).body).at("shocks").empty());
    CHECK(live.get(flight + "?t_s=20").status == 400);
    CHECK(live.post(flight, "{}").status == 405);
}
