#include "tools/trials/case_list.hpp"

#include <algorithm>
#include <stdexcept>

namespace turnstone::trials {

namespace {

std::string whole(double value) {
    return std::to_string(static_cast<int>(value));
}

std::vector<ListedCase> list() {
    using enum CaseGroup;
    std::vector<ListedCase> out{{"nominal", "nominal", scenarios, {}},
                                {"nominal-rough", "nominal, rough", scenarios, {.radio = "rough"}}};
    for (const std::string scenario :
         {"late-drogue", "ballistic", "reboot-at-ejection", "gnss-loss", "barometer-failure"})
        out.push_back({scenario, scenario, scenarios, {.scenario = scenario}});
    out.push_back({"high", "to 8 km", scenarios, {.trouble = "high"}});
    for (const double hz : {1.0, 2.0, 5.0, 10.0, 25.0, 50.0})
        out.push_back(
            {"baro-" + whole(hz), "barometer " + whole(hz) + " Hz", rates, {.kit = "baro", .pressure_hz = hz}});
    for (const auto& [imu_hz, pressure_hz] :
         {std::pair{5.0, 5.0}, {10.0, 10.0}, {50.0, 25.0}, {100.0, 50.0}, {200.0, 25.0}}) {
        for (const std::size_t batch : {1U, 5U})
            out.push_back(
                {"all-" + whole(imu_hz) + "-" + whole(pressure_hz) + (batch > 1 ? "-fives" : ""),
                 "inertial " + whole(imu_hz) + "/" + whole(pressure_hz) + " Hz, " + (batch > 1 ? "fives" : "single"),
                 rates,
                 {.kit = "all", .imu_hz = imu_hz, .pressure_hz = pressure_hz, .batch = batch}});
    }
    out.push_back({"fix-1", "fixes 1 Hz", rates, {.kit = "fix", .fix_hz = 1}});
    out.push_back(
        {"fix+baro-1", "fixes 1 Hz, barometer 2 Hz", rates, {.kit = "fix+baro", .pressure_hz = 2, .fix_hz = 1}});
    for (const Kit& kit : trials::kits()) // what the rates do not have already
        if (kit.name != "demo" && kit.name != "all" && kit.name != "baro")
            out.push_back({"kit-" + std::string(kit.name),
                           std::string(kit.name),
                           CaseGroup::kits,
                           {.kit = std::string(kit.name)}});
    for (const Trouble& trouble : trials::troubles()) {
        if (trouble.name == "high") continue; // no trouble
        TrialCase trial_case{.trouble = std::string(trouble.name)};
        if (trouble.name == "boot-10") trial_case.scenario = "reboot-at-ejection";
        if (trouble.name == "sparse") trial_case.kit = "all", trial_case.fix_hz = 1;
        out.push_back(
            {"worse-" + std::string(trouble.name), std::string(trouble.summary), CaseGroup::troubles, trial_case});
    }
    for (const std::string scenario : {"separation-test", "on-the-rail"})
        out.push_back({scenario, scenario, ground, {.scenario = scenario}});
    return out;
}

} // namespace

const std::vector<ListedCase>& listed_cases() {
    static const std::vector<ListedCase> kCases = list();
    return kCases;
}

std::vector<ListedCase> listed_cases(const std::vector<std::string>& words) {
    std::vector<ListedCase> out;
    for (const std::string& word : words)
        if (std::ranges::none_of(listed_cases(),
                                 [&](const ListedCase& one) { return one.name.find(word) != std::string::npos; }))
            throw std::runtime_error("no case has \"" + word + "\" in its name");
    for (const ListedCase& one : listed_cases())
        if (words.empty() || std::ranges::any_of(words, [&](const std::string& word) {
                return one.name.find(word) != std::string::npos;
            }))
            out.push_back(one);
    return out;
}

} // namespace turnstone::trials
