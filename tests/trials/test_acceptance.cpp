// What counts as met, on scores made by hand: the limits are those that were demanded, the figures worked out here.
#include <catch2/catch.hpp>

#include <algorithm>
#include <cmath>
#include <limits>

#include "tests/support/temporary_folder.hpp"
#include "tools/trials/acceptance.hpp"
#include "tools/trials/case_list.hpp"
#include "tools/trials/slices.hpp"

using namespace turnstone;
using namespace turnstone::trials;

namespace {

const ListedCase& listed(const std::string& name) {
    return *std::ranges::find(listed_cases(), name, &ListedCase::name);
}

Mark mark_of(const std::vector<Mark>& marks, Demand demand, const std::string& about) {
    const auto found = std::ranges::find_if(
        marks, [&](const Mark& mark) { return mark.demand == demand && mark.about.find(about) != std::string::npos; });
    REQUIRE(found != marks.end());
    return *found;
}

/// A flight that met everything: under thrust the altitude was off by `sigmas` of its 1-sigma.
TrialScore score(double sigmas) {
    TrialScore out;
    for (auto& of_quantity : out.tallies)
        of_quantity[static_cast<std::size_t>(sim::TruePhase::under_thrust)].lasted_s = 2;
    Tally& tally = out.tallies[static_cast<std::size_t>(Quantity::altitude)]
                              [static_cast<std::size_t>(sim::TruePhase::under_thrust)];
    tally.errors.add(3 * sigmas, 3);
    out.flight_events[0] = {.happened = true, .found = 1, .error_s = 0.004, .sigma_s = 0.004, .delay_s = 0.1};
    out.predictions[0] = {.asked = true, .apogee_inside = true, .landing_inside = true};
    out.oldest_prediction_s = 0.4;
    out.with_fixes_s = 100;
    out.placed_s = 99.5;
    out.lamps[0] = {.rows = 100, .consistent = 96, .conservative = 4, .overconfident = 0};
    return out;
}

} // namespace

TEST_CASE("figures are met or not by the limits demanded, and say by how much not") {
    Scores scores(20, score(1.2));
    for (std::size_t k = 0; k < 2; ++k) scores[k].predictions[0].apogee_inside = false;
    auto marks = marks_of(listed("nominal"), scores);
    const Mark altitude = mark_of(marks, Demand::sigmas, "vertical: altitude AGL");
    CHECK(altitude.value == Approx(1.44));
    CHECK(altitude.met());
    CHECK(altitude.beyond() == 0);
    CHECK(altitude.chance == Approx(0).margin(1e-12)); // all flights alike
    CHECK(mark_of(marks, Demand::moment_sigmas, "Liftoff").value == Approx(1));
    CHECK(mark_of(marks, Demand::moment_times, "Liftoff").value == Approx(0.8)); // of 5 ms
    CHECK(mark_of(marks, Demand::moments, "Liftoff missed").met());
    CHECK(mark_of(marks, Demand::apogees, "on the rail").value == Approx(90));
    CHECK(mark_of(marks, Demand::apogees, "on the rail").met());
    CHECK(mark_of(marks, Demand::landings, "on the rail").beyond() == Approx(2)); // 100 % is more than 98
    CHECK(mark_of(marks, Demand::age, "").met());
    CHECK(mark_of(marks, Demand::position, "").met());
    CHECK(mark_of(marks, Demand::consistent, "vertical").met());
    CHECK(std::ranges::none_of(marks, [](const Mark& mark) { return mark.demand == Demand::warned; }));

    // Half the flights off by two sigmas, half by four: mean square 10, five times too much.
    for (std::size_t k = 0; k < scores.size(); ++k) scores[k] = score(k % 2 == 0 ? 2 : 4);
    scores[0].flight_events[0].found = 0;
    scores[1].flight_events[0].found = 2;
    scores[2].oldest_prediction_s = 1.25;
    for (TrialScore& one : scores) one.placed_s = 90;
    marks = marks_of(listed("nominal"), scores);
    const Mark off = mark_of(marks, Demand::sigmas, "vertical: altitude AGL");
    CHECK(off.value == Approx(10));
    CHECK(off.beyond() == Approx(5));
    CHECK(off.text() == "**10.00**");
    CHECK(off.chance == Approx(6 / std::sqrt(19.0))); // 4 and 16 by turns
    CHECK(mark_of(marks, Demand::moments, "Liftoff missed").beyond() == 1);
    CHECK(mark_of(marks, Demand::moments, "Liftoff false").beyond() == 1);
    CHECK(mark_of(marks, Demand::age, "").beyond() == Approx(2.5));
    CHECK(mark_of(marks, Demand::position, "").beyond() == Approx(9));
}

TEST_CASE("an impact that ends telemetry is found by the silence after it") {
    Scores scores(3, score(1));
    for (TrialScore& one : scores) one.flight_events[5] = {.happened = true};
    const auto missed = [&] {
        return mark_of(marks_of(listed("ballistic"), scores), Demand::moments, "Touchdown missed");
    };
    CHECK(missed().value == 3);
    for (TrialScore& one : scores) one.presumed_impact_error_s = 0.02;
    CHECK(missed().met());
}

TEST_CASE("a rough radio may miss two moments in a thousand flights, a clean one none") {
    Scores scores(500, score(1));
    scores[0].flight_events[0].found = 0;
    CHECK(mark_of(marks_of(listed("nominal-rough"), scores), Demand::moments, "Liftoff missed").met());
    CHECK_FALSE(mark_of(marks_of(listed("nominal"), scores), Demand::moments, "Liftoff missed").met());
    scores[1].flight_events[0].found = scores[2].flight_events[0].found = 0;
    CHECK_FALSE(mark_of(marks_of(listed("nominal-rough"), scores), Demand::moments, "Liftoff missed").met());
}

TEST_CASE("a fault does harm unseen only when no warning came before it") {
    Scores scores(10, score(1));
    const ListedCase& worse = listed("worse-port");
    const auto warned = [&] { return mark_of(marks_of(worse, scores), Demand::warned, "").value; };
    CHECK(warned() == Approx(100)); // no harm at all
    scores[0].harmed_s = 30;
    CHECK(warned() == Approx(90));
    scores[0].warned_s = 31;
    CHECK(warned() == Approx(90));
    scores[0].warned_s = 29;
    CHECK(warned() == Approx(100));
}

TEST_CASE("no prediction in any flight is not one that is young enough") {
    Scores scores(3, score(1));
    for (TrialScore& one : scores) one.oldest_prediction_s = NAN;
    const Mark age = mark_of(marks_of(listed("nominal"), scores), Demand::age, "");
    CHECK_FALSE(age.met());
    CHECK(age.beyond() == std::numeric_limits<double>::infinity());
}

TEST_CASE("cases are chosen by words of their names, which are all different") {
    std::vector<std::string> names;
    for (const ListedCase& one : listed_cases()) {
        names.push_back(one.name);
        CHECK(one.name.find_first_not_of("abcdefghijklmnopqrstuvwxyz0123456789-+") == std::string::npos);
        CHECK_NOTHROW(scenario_of(one.trial_case));
    }
    std::ranges::sort(names);
    CHECK(std::ranges::adjacent_find(names) == names.end());
    CHECK(listed_cases({"baro-"}).size() == 7); // six rates, and one with fixes
    CHECK(listed_cases({}).size() == names.size());
    CHECK_THROWS_AS(listed_cases({"baro", "no such case"}), std::runtime_error);
}

TEST_CASE("slices are kept, replaced and put together by seed") {
    test::TemporaryFolder folder;
    const auto of = [](double cpu_s, int count) {
        Scores scores(static_cast<std::size_t>(count), score(1));
        for (TrialScore& one : scores) one.cpu_s = cpu_s;
        return scores;
    };
    CHECK(collect<TrialScore>(folder.path() / "none", "baro-1").scores.empty());
    write_slice(folder.path(), "baro-1", 5010, of(2, 10));
    write_slice(folder.path(), "baro-1", 5000, of(1, 10));
    write_slice(folder.path(), "baro-10", 5000, of(3, 10));
    CHECK(has_slice<TrialScore>(folder.path(), "baro-1", 5000, 10));
    CHECK_FALSE(has_slice<TrialScore>(folder.path(), "baro-1", 5020, 10));
    auto collected = collect<TrialScore>(folder.path(), "baro-1");
    REQUIRE(collected.scores.size() == 20);
    CHECK(collected.builds.size() == 1);
    CHECK(collected.scores[0].cpu_s == 1);
    CHECK(collected.scores[19].cpu_s == 2);
    CHECK(collected.scores[19].of(Quantity::altitude, kAscent).errors.normalised_square() == Approx(1));
    write_slice(folder.path(), "baro-1", 5000, of(4, 5)); // fewer than there were
    CHECK(has_slice<TrialScore>(folder.path(), "baro-1", 5000, 5));
    CHECK_FALSE(has_slice<TrialScore>(folder.path(), "baro-1", 5000, 10));
    collected = collect<TrialScore>(folder.path(), "baro-1");
    CHECK(collected.scores.size() == 15);
    CHECK(collected.scores[0].cpu_s == 4);
    // Cut short, it does not count.
    const auto path = folder.path() / "baro-1-5010.scores";
    std::filesystem::resize_file(path, std::filesystem::file_size(path) - 1);
    CHECK(collect<TrialScore>(folder.path(), "baro-1").scores.size() == 5);
}
