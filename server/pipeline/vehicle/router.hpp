#pragma once
/// From decoded rows to the measurements estimators take, by the roles in the dictionary. Resolved once into
/// indices.
#include <array>
#include <cstdint>
#include <span>
#include <vector>

#include "protocol/decode/decoder.hpp"
#include "protocol/dictionary/dictionary.hpp"
#include "server/estimate/chain/chain.hpp"
#include "shared/site.hpp"

namespace turnstone {

class Router {
  public:
    /// Both must outlive the router.
    Router(const Dictionary& dictionary, const Site& site);

    /// Which measurements this dictionary can give.
    [[nodiscard]] const estimate::ChainInputs& inputs() const noexcept { return inputs_; }
    /// Hands `row`, taken at `t_ns`, to the chain: one call for each kind of measurement in its table. Wind goes
    /// to each of `wind_chains`.
    void route(const DecodedRow& row, std::int64_t t_ns, estimate::EstimatorChain& chain, EstimateSink& sink,
               std::span<estimate::EstimatorChain* const> wind_chains);

  private:
    /// What a table holds. A measurement is made from one table: its parts belong to one moment.
    struct Plan {
        std::array<std::int16_t, static_cast<std::size_t>(Role::count_)> at; ///< place among the numbers; -1: not here
        bool imu = false, pressure = false, fix = false, mag = false, onboard = false, wind = false, engine = false;
        bool is_earth_centred = false; ///< the fix's position
    };
    [[nodiscard]] FixSample make_fix(const Plan& plan, const DecodedRow& row, std::int64_t t_ns) const noexcept;

    const Site* site_;
    std::vector<Plan> plans_; ///< by Dictionary::tables
    estimate::ChainInputs inputs_;
    double temperature_k_ = kNaN; ///< newest, for pressure that comes in another packet
    std::int64_t temperature_t_ns_ = 0;
};

} // namespace turnstone
