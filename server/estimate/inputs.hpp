#pragma once
/// What a vehicle's packets can give estimators, and which estimates follow from that: the one place that says what
/// each estimate needs. The chain builds by it, `turnstone check` says it, the table in README.md is made of it.
#include <string>
#include <string_view>
#include <vector>

namespace turnstone::estimate {

/// Which measurements the vehicle's dictionary can give, with samples a second; 0: none, or nobody knows how many.
struct ChainInputs {
    bool accel_axial = false;   ///< along the long axis
    bool accel_lateral = false; ///< both other axes
    bool rates = false;         ///< all three
    bool pressure = false;
    bool fix = false; ///< a position
    bool onboard = false;
    bool engine = false; ///< speed or one of the gauges
    bool wind = false;   ///< an anemometer
    double imu_hz = 0, pressure_hz = 0, fix_hz = 0;
    double rates_hz = 0;         ///< of turn rates on three axes
    double accel_range_mps2 = 0; ///< of the larger of two accelerometers; 0: the vehicle file's

    [[nodiscard]] bool triads() const noexcept { return accel_axial && accel_lateral && rates; }
};

/// An estimator that this vehicle cannot have, and the roles its dictionary lacks for it: all of them are needed, or
/// any.
struct MissingInput {
    std::string estimator; ///< table name: "air"
    std::vector<std::string> roles;
    bool any = false;
};

/// One estimate and what it takes, for people.
struct EstimateNeed {
    std::string_view title;
    std::string_view inputs;
    std::string_view rates;
};
[[nodiscard]] const std::vector<EstimateNeed>& estimate_needs();
/// As a Markdown table, as README.md has it.
[[nodiscard]] std::string estimate_needs_markdown();

/// Whether this vehicle gets an estimate.
struct EstimateOutlook {
    std::string_view title;
    bool given;
    std::string why; ///< not, or what is wrong with it; empty: nothing is
};
/// In the order of estimate_needs().
[[nodiscard]] std::vector<EstimateOutlook> estimate_outlook(const ChainInputs& inputs, bool is_rocket);

/// Of those that a rocket's chain would have.
[[nodiscard]] std::vector<MissingInput> missing_inputs(const ChainInputs& inputs);

} // namespace turnstone::estimate
