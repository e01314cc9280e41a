#pragma once
/// Filters side by side, one for each turn or heading that is still possible, weighted by how well each explains the
/// measurements (a Gaussian sum, alignment/pad_alignment.hpp). Those that fall behind are dropped, those that have come
/// to agree become one. Together they say: position and velocity of the mixture, attitude and biases of the likeliest,
/// and the covariance of the mixture about those.
#include <array>
#include <span>
#include <vector>

#include "server/estimate/navigation/branch.hpp"

namespace turnstone::estimate {

class BranchBank {
  public:
    static constexpr std::size_t kMost = PadAlignment::kHypotheses;
    /// What each branch makes of one measurement.
    template <int M>
    using Views = std::array<NavigationBranch::Seen<M>, kMost>;
    /// Innovation and its covariance of the mixture of all branches.
    template <int M>
    struct Mixture {
        Eigen::Matrix<double, M, 1> innovation;
        Eigen::Matrix<double, M, M> covariance;
    };

    explicit BranchBank(double gravity_mps2);

    void start(std::span<const Alignment> hypotheses, const EskfNoise& noise, std::int64_t t_ns);
    void clear() noexcept { active_ = 0; }
    [[nodiscard]] bool empty() const noexcept { return active_ == 0; }
    [[nodiscard]] std::size_t size() const noexcept { return active_; }
    /// Those in use, likeliest first.
    [[nodiscard]] std::span<NavigationBranch> all() { return {branches_.data(), active_}; }
    [[nodiscard]] std::span<const NavigationBranch> all() const { return {branches_.data(), active_}; }
    [[nodiscard]] const NavigationBranch& best() const { return branches_.front(); }

    template <int M, class Measurement>
    [[nodiscard]] Views<M> see(const Measurement& measurement) {
        Views<M> out;
        for (std::size_t k = 0; k < active_; ++k) {
            branches_[k].filter().settle();
            out[k] = branches_[k].see(measurement);
        }
        return out;
    }
    template <int M>
    [[nodiscard]] Mixture<M> mix(const Views<M>& views) const;
    /// Weighs and corrects every branch with what it sees.
    template <int M>
    void correct(const Views<M>& views);
    /// Brings the likeliest to the front and drops those that fell behind.
    void rank();
    void merge_alike();
    /// All in the likeliest: what they differ by is not known any more.
    void become_one();
    /// One in its place for each turn about the nose.
    void restart_roll();

    /// As NavigationBranch::leave_steps, of all.
    void leave_steps(AttitudePass* pass);

    /// Not moved by the mixture: attitude, biases and the errors of measurements.
    [[nodiscard]] EskfNominal nominal() const;
    [[nodiscard]] Eskf::Covariance covariance() const;
    /// Parts of covariance() alone, for less.
    [[nodiscard]] Eigen::Vector3d velocity_sigma_mps() const;
    [[nodiscard]] Eigen::Matrix3d attitude_covariance() const;

  private:
    using Fractions = std::array<double, kMost>;
    [[nodiscard]] Fractions fractions() const; ///< of the weight of all, by branch

    std::vector<NavigationBranch> branches_; ///< the first active_ of them are in use
    std::size_t active_ = 0;
};

} // namespace turnstone::estimate
