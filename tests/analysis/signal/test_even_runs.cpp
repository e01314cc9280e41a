// Samples on even grids: gaps end runs, nothing is filled in.
#include <catch2/catch.hpp>

#include <cmath>

#include "server/analysis/signal/even_runs.hpp"

using namespace turnstone::analysis;

namespace {

struct Channel {
    std::vector<double> t_s, value;
    Channel(double period_s, double until_s, double from_s = 0) {
        for (std::size_t i = 0; from_s + static_cast<double>(i) * period_s < until_s; ++i) {
            t_s.push_back(from_s + static_cast<double>(i) * period_s);
            value.push_back(3 * t_s.back() + 1);
        }
    }
    void lose(double from_s, double to_s) {
        for (std::size_t i = 0; i < t_s.size(); ++i)
            if (t_s[i] > from_s && t_s[i] < to_s) value[i] = std::nan("");
    }
    operator Series() const { return {t_s, value}; }
};

} // namespace

TEST_CASE("a whole channel is one run with its own values") {
    const Channel channel(0.01, 1.0);
    const EvenRuns found = even_runs(std::vector<Series>{channel});
    REQUIRE(found.runs.size() == 1);
    CHECK(found.period_s == Approx(0.01));
    CHECK(found.highest_hz == Approx(50));
    CHECK(found.gaps == 0);
    CHECK(found.missing_share == Approx(0).margin(1e-9));
    REQUIRE(found.runs[0].channels[0].size() == 100);
    for (std::size_t i = 0; i < 100; ++i) CHECK(found.runs[0].channels[0][i] == Approx(channel.value[i]));
}

TEST_CASE("a gap ends a run, in whichever channel it is") {
    Channel fast(0.005, 10), slow(0.01, 10);
    fast.lose(2.0, 3.0);
    slow.lose(6.0, 6.5);
    const EvenRuns found = even_runs(std::vector<Series>{fast, slow});
    REQUIRE(found.runs.size() == 3);
    CHECK(found.gaps == 2);
    CHECK(found.missing_share == Approx(0.15).margin(0.005));
    CHECK(found.highest_hz == Approx(50));
    CHECK(found.runs[1].start_s == Approx(3.0));
    CHECK(found.runs[2].start_s == Approx(6.5));
    for (const Run& run : found.runs)
        for (std::size_t i = 0; i < run.channels[1].size(); ++i)
            CHECK(run.channels[1][i] == Approx(3 * (run.start_s + static_cast<double>(i) * found.period_s) + 1));
}

TEST_CASE("jitter, disorder and duplicates are taken out, and told") {
    Channel channel(0.01, 4);
    for (std::size_t i = 0; i < channel.t_s.size(); ++i) {
        channel.t_s[i] += 0.001 * std::sin(static_cast<double>(i));
        channel.value[i] = channel.t_s[i];
    }
    channel.t_s[100] = channel.t_s[99];
    channel.t_s[200] = 0.5;
    const EvenRuns found = even_runs(std::vector<Series>{channel});
    CHECK(found.jitter_s > 3e-4);
    CHECK(found.jitter_s < 2e-3);
    for (const Run& run : found.runs)
        for (std::size_t i = 0; i < run.channels[0].size(); ++i)
            CHECK(run.channels[0][i] == Approx(run.start_s + static_cast<double>(i) * found.period_s).margin(1e-9));
}

TEST_CASE("without two samples of every channel there is no run") {
    const Channel channel(0.01, 1);
    const Series empty{};
    CHECK(even_runs({}).runs.empty());
    CHECK(even_runs(std::vector<Series>{channel, empty}).runs.empty());
    CHECK(std::isnan(even_runs(std::vector<Series>{channel, empty}).period_s));
    const Channel later(0.01, 3, 2);
    CHECK(even_runs(std::vector<Series>{channel, later}).runs.empty());
    CHECK(even_runs(std::vector<Series>{channel}, 200).runs.empty());
}
