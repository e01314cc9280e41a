#include "server/estimate/navigation/bank.hpp"

#include <cmath>
#include <numbers>

namespace turnstone::estimate {

using Eigen::Matrix3d;
using Eigen::Vector3d;

namespace {

constexpr double kBehind = 9.0; // in log weight: one in eight thousand
constexpr double kAlike = 1.0;  // squared distance of attitudes, in sigmas

} // namespace

BranchBank::BranchBank(double gravity_mps2) : branches_(kMost, NavigationBranch(gravity_mps2)) {}

void BranchBank::start(std::span<const Alignment> hypotheses, const EskfNoise& noise, std::int64_t t_ns) {
    active_ = hypotheses.size();
    for (std::size_t k = 0; k < active_; ++k) branches_[k].start(hypotheses[k], noise, t_ns);
    rank();
}

BranchBank::Fractions BranchBank::fractions() const {
    Fractions out{};
    double sum = 0;
    for (std::size_t k = 0; k < active_; ++k) {
        out[k] = std::exp(branches_[k].log_weight - best().log_weight);
        sum += out[k];
    }
    for (std::size_t k = 0; k < active_; ++k) out[k] /= sum;
    return out;
}

template <int M>
BranchBank::Mixture<M> BranchBank::mix(const Views<M>& views) const {
    const Fractions fraction = fractions();
    Mixture<M> out{Eigen::Matrix<double, M, 1>::Zero(), Eigen::Matrix<double, M, M>::Zero()};
    for (std::size_t k = 0; k < active_; ++k) out.innovation += fraction[k] * views[k].innovation;
    for (std::size_t k = 0; k < active_; ++k) {
        const Eigen::Matrix<double, M, 1> off = views[k].innovation - out.innovation;
        out.covariance += fraction[k] * (views[k].covariance + off * off.transpose());
    }
    return out;
}
template BranchBank::Mixture<1> BranchBank::mix<1>(const Views<1>&) const;
template BranchBank::Mixture<6> BranchBank::mix<6>(const Views<6>&) const;

template <int M>
void BranchBank::correct(const Views<M>& views) {
    for (std::size_t k = 0; k < active_; ++k) {
        branches_[k].log_weight += views[k].log_likelihood();
        branches_[k].correct(views[k]);
    }
}
template void BranchBank::correct<1>(const Views<1>&);
template void BranchBank::correct<6>(const Views<6>&);

void BranchBank::rank() {
    std::size_t first = 0;
    for (std::size_t k = 1; k < active_; ++k)
        if (branches_[k].log_weight > branches_[first].log_weight) first = k;
    if (first > 0) std::swap(branches_[0], branches_[first]);
    std::size_t kept = 1;
    for (std::size_t k = 1; k < active_; ++k) {
        if (branches_[k].log_weight <= best().log_weight - kBehind) continue;
        if (k != kept) std::swap(branches_[kept], branches_[k]);
        ++kept;
    }
    active_ = kept;
}

void BranchBank::merge_alike() {
    for (std::size_t k = 0; k < active_; ++k) {
        const Matrix3d about = branches_[k].filter().covariance().block<3, 3>(Eskf::kAttitude, Eskf::kAttitude);
        const Eigen::LDLT<Matrix3d> factor(about);
        for (std::size_t j = active_; j-- > k + 1;) {
            const Vector3d off = rotation_vector_from_quaternion(branches_[k].nominal().q_local_body.conjugate() *
                                                                 branches_[j].nominal().q_local_body);
            if (off.dot(factor.solve(off)) > kAlike) continue;
            const double ahead = branches_[j].log_weight - branches_[k].log_weight;
            if (ahead > 0) std::swap(branches_[j], branches_[k]);
            const double ratio = std::exp(-std::abs(ahead));
            branches_[k].absorb(branches_[j], ratio / (1 + ratio));
            branches_[k].log_weight += std::log1p(ratio);
            std::swap(branches_[j], branches_[--active_]);
        }
    }
    rank();
}

void BranchBank::become_one() {
    for (NavigationBranch& branch : all()) branch.filter().settle();
    const Fractions fraction = fractions();
    double weight = fraction[0];
    for (std::size_t k = 1; k < active_; ++k) {
        weight += fraction[k];
        branches_[0].absorb(branches_[k], fraction[k] / weight);
    }
    active_ = 1;
}

void BranchBank::restart_roll() {
    become_one();
    const double step_rad = 2 * std::numbers::pi / static_cast<double>(kMost);
    branches_[0].log_weight = 0;
    for (std::size_t k = 1; k < kMost; ++k) {
        branches_[k] = branches_[0];
        branches_[k].turn(static_cast<double>(k) * step_rad, PadAlignment::kStepFraction * step_rad);
    }
    branches_[0].turn(0, PadAlignment::kStepFraction * step_rad);
    active_ = kMost;
}

void BranchBank::leave_steps(AttitudePass* pass) {
    for (NavigationBranch& branch : branches_) branch.leave_steps(pass);
}

EskfNominal BranchBank::nominal() const {
    const Fractions fraction = fractions();
    EskfNominal out = best().nominal();
    out.position_enu_m = out.velocity_enu_mps = Vector3d::Zero();
    for (std::size_t k = 0; k < active_; ++k) {
        out.position_enu_m += fraction[k] * branches_[k].nominal().position_enu_m;
        out.velocity_enu_mps += fraction[k] * branches_[k].nominal().velocity_enu_mps;
    }
    return out;
}

Vector3d BranchBank::velocity_sigma_mps() const {
    const Fractions fraction = fractions();
    const Vector3d mean_mps = nominal().velocity_enu_mps;
    Vector3d sum = Vector3d::Zero();
    for (std::size_t k = 0; k < active_; ++k) {
        const Vector3d off = branches_[k].nominal().velocity_enu_mps - mean_mps;
        sum +=
            fraction[k] * (branches_[k].filter().covariance().diagonal().segment<3>(Eskf::kVelocity) + off.cwiseAbs2());
    }
    return sum.cwiseMax(0.0).cwiseSqrt();
}

Eskf::Covariance BranchBank::covariance() const {
    if (active_ == 1) return best().filter().covariance();
    Eskf::Covariance sum = Eskf::Covariance::Zero();
    const Fractions fraction = fractions();
    const EskfNominal about = nominal();
    for (std::size_t k = 0; k < active_; ++k) {
        const Eskf::ErrorVector off = Eskf::error_of(about, branches_[k].nominal());
        sum += fraction[k] * (branches_[k].filter().covariance() + off * off.transpose());
    }
    return sum;
}

Matrix3d BranchBank::attitude_covariance() const {
    const Fractions fraction = fractions();
    Matrix3d sum = Matrix3d::Zero();
    for (std::size_t k = 0; k < active_; ++k) {
        const Vector3d off = rotation_vector_from_quaternion(best().nominal().q_local_body.conjugate() *
                                                             branches_[k].nominal().q_local_body);
        sum += fraction[k] * (branches_[k].filter().covariance().block<3, 3>(Eskf::kAttitude, Eskf::kAttitude) +
                              off * off.transpose());
    }
    return sum;
}

} // namespace turnstone::estimate
