#pragma once
/// The attitude filter by itself, as the tests of its backward pass drive it.
#include <cstdint>
#include <memory>

#include <Eigen/Dense>

#include "server/estimate/navigation/backward/attitude_pass.hpp"

namespace turnstone::test {

/// A filter whose corrections are left as steps.
struct Recorded {
    estimate::Eskf filter;
    estimate::ErrorTrail trail;
    std::int64_t t_ns = 0;

    Recorded(const estimate::EskfNoise& noise, const estimate::EskfNominal& nominal,
             const estimate::Eskf::Covariance& covariance)
        : filter(noise) {
        filter.reset(nominal, covariance);
        trail.push_back(std::make_shared<estimate::ErrorStep>(t_ns, estimate::Eskf::Covariance::Zero(), now(), now()));
        filter.carry_errors(true);
    }
    [[nodiscard]] estimate::ErrorEstimate now() const { return {filter.nominal(), filter.covariance()}; }
    template <int M>
    void correct(const Eigen::Matrix<double, M, 1>& innovation, const estimate::Eskf::Observation<M>& observation,
                 const Eigen::Matrix<double, M, M>& noise) {
        filter.settle();
        const estimate::ErrorEstimate before = now();
        filter.correct<M>(innovation, observation, noise);
        trail.push_back(std::make_shared<estimate::ErrorStep>(t_ns, *filter.carried(), before, now()));
        filter.carry_errors(true);
    }
};

} // namespace turnstone::test
