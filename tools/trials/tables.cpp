#include "tools/trials/tables.hpp"

#include <algorithm>
#include <cstdio>

#include "server/pipeline/events.hpp"

namespace turnstone::trials {

namespace {

std::string text(const char* format, double value) {
    std::array<char, 40> out{};
    std::snprintf(out.data(), out.size(), format, value);
    return out.data();
}

/// "median / worst".
std::string spread(std::vector<double> values, const char* format) {
    std::erase_if(values, [](double value) { return !std::isfinite(value); });
    if (values.empty()) return "-";
    std::sort(values.begin(), values.end());
    return text(format, values[values.size() / 2]) + " / " + text(format, values.back());
}

} // namespace

void print_errors_by_phase(const std::vector<TrialScore>& scores) {
    std::array<bool, kTruePhases> used{};
    std::printf("\n%-34s", "");
    for (std::size_t p = 0; p < kTruePhases; ++p) {
        for (const TrialScore& score : scores) used[p] = used[p] || score.tallies[0][p].lasted_s > 0;
        if (used[p]) std::printf(" %22s", sim::to_string(static_cast<sim::TruePhase>(p)).data());
    }
    std::printf("\n");
    for (std::size_t q = 0; q < kQuantities; ++q) {
        const QuantityText& about = text_of(static_cast<Quantity>(q));
        const std::string name = std::string(about.name) + (*about.unit != 0 ? std::string(", ") + about.unit : "");
        std::printf("%-34s", name.c_str());
        for (std::size_t p = 0; p < kTruePhases; ++p) {
            if (!used[p]) continue;
            Tally all;
            for (const TrialScore& score : scores) all.add(score.tallies[q][p]);
            std::string cell = "-";
            if (all.errors.count > 0) {
                cell = text(about.format, all.errors.rms());
                if (all.errors.normalised_count > 0) cell += " (" + text("%.2f", all.errors.normalised_square()) + ")";
                cell += " " + text("%.0f", 100 * std::min(1.0, all.available())) + "%";
            }
            std::printf(" %22s", cell.c_str());
        }
        std::printf("\n");
    }
}

void print_moments(const std::vector<TrialScore>& scores) {
    std::printf("\n%-14s %9s %6s %6s %20s %10s %16s\n", "moment", "happened", "missed", "false", "error, ms",
                "(square)", "found after, s");
    for (std::size_t m = 0; m < kFlightEvents.size(); ++m) {
        int happened = 0, missed = 0, wrong = 0;
        std::vector<double> errors_ms, delays_s;
        Errors normalised;
        for (const TrialScore& score : scores) {
            const FlightEventScore& s = score.flight_events[m];
            happened += s.happened;
            missed += s.happened && s.found == 0;
            wrong += s.found - (s.happened && s.found > 0);
            if (!s.happened || s.found == 0) continue;
            errors_ms.push_back(1e3 * std::abs(s.error_s));
            delays_s.push_back(s.delay_s);
            normalised.add(s.error_s, s.sigma_s);
        }
        std::printf("%-14s %9d %6d %6d %20s %10s %16s\n",
                    make_event({.id = kFlightEvents[m], .t_ns = 0}, 0).text.c_str(), happened, missed, wrong,
                    spread(errors_ms, "%.0f").c_str(),
                    normalised.normalised_count > 0 ? text("%.2f", normalised.normalised_square()).c_str() : "-",
                    spread(delays_s, "%.2f").c_str());
    }
}

void print_predictions(const std::vector<TrialScore>& scores) {
    std::printf("\n%-22s %10s %10s %16s %8s %10s %10s %14s\n", "prediction", "apogee 90%", "no answer", "error, m",
                "mean, m", "land. 95%", "no answer", "miss, m");
    for (std::size_t k = 0; k < kCheckpoints; ++k) {
        int asked = 0, apogee_in = 0, apogee_none = 0, landing_in = 0, landing_none = 0;
        std::vector<double> apogee_m, miss_m;
        double sum_m = 0;
        for (const TrialScore& score : scores) {
            if (!std::isfinite(score.true_apogee_m)) continue;
            const PredictionScore& p = score.predictions[k];
            ++asked;
            apogee_in += p.apogee_inside;
            apogee_none += !std::isfinite(p.apogee_error_m);
            landing_in += p.landing_inside;
            landing_none += !std::isfinite(p.miss_m);
            apogee_m.push_back(std::abs(p.apogee_error_m));
            miss_m.push_back(p.miss_m);
            if (std::isfinite(p.apogee_error_m)) sum_m += p.apogee_error_m;
        }
        if (asked == 0) continue;
        std::printf("%-22s %9.0f%% %10d %16s %8.1f %9.0f%% %10d %14s\n", to_string(static_cast<Checkpoint>(k)).c_str(),
                    100.0 * apogee_in / asked, apogee_none, spread(apogee_m, "%.1f").c_str(),
                    sum_m / std::max(1, asked - apogee_none), 100.0 * landing_in / asked, landing_none,
                    spread(miss_m, "%.0f").c_str());
    }
}

void print_lamps(const std::vector<TrialScore>& scores) {
    static constexpr std::array<const char*, kLamps> kNames{"vertical filter", "GNSS fixes", "pressure altitude"};
    std::printf("\n%-20s %12s %14s %14s\n", "health in flight", "consistent", "conservative", "overconfident");
    for (std::size_t lamp = 0; lamp < kLamps; ++lamp) {
        HealthTally all;
        for (const TrialScore& score : scores) all.add(score.lamps[lamp]);
        if (all.rows == 0) continue;
        std::printf("%-20s %11.1f%% %13.1f%% %13.1f%%\n", kNames[lamp], 100.0 * all.consistent / all.rows,
                    100.0 * all.conservative / all.rows, 100.0 * all.overconfident / all.rows);
    }
}

} // namespace turnstone::trials
