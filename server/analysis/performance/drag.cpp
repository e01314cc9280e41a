#include "server/analysis/performance/drag.hpp"

#include <algorithm>
#include <cmath>

#include <Eigen/Dense>

#include "server/analysis/ensemble/resample.hpp"

namespace turnstone::analysis {

namespace {

constexpr double kBlock_s = 0.1;
constexpr double kNodes_mach = 0.1; ///< at most from node to node
constexpr std::size_t kBlocksPerNode = 5;
/// Below this the air says nothing of drag, and the accelerometer all of its bias.
constexpr double kLeastPressure_pa = 300;
constexpr double kBridged_s = 0.5;
/// Nodes known worse than this are not told.
constexpr double kWorst = 0.25;

struct Block {
    double force_mps2, mach, pressure_pa, density_sigma, speed_sigma; ///< the last two relative
};

std::vector<Block> blocks_of(const Course& course, const AxialForce& axial, double from_s, double to_s) {
    std::vector<Block> blocks;
    std::vector<double> middle_s, mean_mps2;
    double sum = 0, t_sum = 0, began_s = from_s;
    std::size_t count = 0;
    for (std::size_t i = 0; i < axial.t_s.size(); ++i) {
        const double t_s = axial.t_s[i];
        if (t_s < from_s || !std::isfinite(axial.force_mps2[i])) continue;
        if (t_s >= began_s + kBlock_s || t_s > to_s) {
            if (count > 0) {
                middle_s.push_back(t_sum / static_cast<double>(count));
                mean_mps2.push_back(sum / static_cast<double>(count));
            }
            if (t_s > to_s) break;
            sum = t_sum = 0;
            count = 0;
            began_s = t_s;
        }
        sum += axial.force_mps2[i];
        t_sum += t_s;
        ++count;
    }
    const auto at = [&](const std::vector<double>& values) {
        return resampled(course.t_s, values, middle_s, kBridged_s);
    };
    const auto speed = at(course.speed_mps), sigma = at(course.speed_sigma_mps), density = at(course.density_kg_m3),
               density_sigma = at(course.density_sigma), mach = at(course.mach);
    for (std::size_t i = 0; i < middle_s.size(); ++i) {
        const Block block{mean_mps2[i], mach[i], 0.5 * density[i] * speed[i] * speed[i], density_sigma[i],
                          sigma[i] / speed[i]};
        if (std::isfinite(block.mach + block.pressure_pa + block.density_sigma + block.speed_sigma))
            blocks.push_back(block);
    }
    return blocks;
}

/// How much less independent blocks there are than blocks, for residuals like these.
double widening(const Eigen::VectorXd& residuals) {
    double squares = 0, products = 0;
    for (Eigen::Index i = 0; i < residuals.size(); ++i) {
        squares += residuals(i) * residuals(i);
        if (i > 0) products += residuals(i) * residuals(i - 1);
    }
    const double alike = std::clamp(products / squares, 0.0, 0.95);
    return (1 + alike) / (1 - alike);
}

} // namespace

DragCurve drag_curve(const Course& course, const AxialForce& axial, double from_s, double to_s,
                     double reference_area_m2, const Masses& masses, const Doubts& doubts) {
    DragCurve out;
    const std::vector<Block> blocks = blocks_of(course, axial, from_s, to_s);
    const auto fast = [](const Block& block) { return block.pressure_pa >= kLeastPressure_pa; };
    const auto fast_blocks = static_cast<std::size_t>(std::ranges::count_if(blocks, fast));
    if (fast_blocks < 2 * kBlocksPerNode) {
        out.why = blocks.empty() ? "no axial acceleration with a speed while coasting"
                                 : "the coast is too short or too slow to show drag";
        return out;
    }
    double lowest = 1e9, highest = 0;
    for (const Block& block : blocks)
        if (fast(block)) {
            lowest = std::min(lowest, block.mach);
            highest = std::max(highest, block.mach);
        }
    const auto spans_most = fast_blocks / kBlocksPerNode;
    const auto spans = static_cast<Eigen::Index>(
        std::clamp(std::ceil((highest - lowest) / kNodes_mach), 1.0, static_cast<double>(spans_most)));
    const double step = std::max(1e-6, (highest - lowest) / static_cast<double>(spans));
    const Eigen::Index nodes = spans + 1, unknowns = nodes + 1;

    // Of each block -m f, and last what is known of the bias beforehand.
    const auto rows = static_cast<Eigen::Index>(blocks.size());
    Eigen::MatrixXd design = Eigen::MatrixXd::Zero(rows, unknowns);
    Eigen::VectorXd seen(rows);
    for (Eigen::Index i = 0; i < rows; ++i) {
        const Block& block = blocks[static_cast<std::size_t>(i)];
        const double place = std::clamp((block.mach - lowest) / step, 0.0, static_cast<double>(spans));
        const auto node = std::min(static_cast<Eigen::Index>(place), spans - 1);
        const double part = place - static_cast<double>(node);
        const double area_pa_m2 = block.pressure_pa * reference_area_m2;
        design(i, node) = (1 - part) * area_pa_m2;
        design(i, node + 1) = part * area_pa_m2;
        design(i, nodes) = -masses.dry_kg;
        seen(i) = -masses.dry_kg * block.force_mps2;
    }
    Eigen::MatrixXd normal = design.transpose() * design;
    const Eigen::VectorXd right = design.transpose() * seen;
    // The weight of the bias's prior follows from the residuals, which one fit without it gives.
    Eigen::VectorXd fit = normal.ldlt().solve(right);
    Eigen::VectorXd residuals = seen - design * fit;
    const double freedom = std::max(1.0, static_cast<double>(rows - unknowns));
    const double variance = residuals.squaredNorm() / freedom * widening(residuals);
    normal(nodes, nodes) += variance / (doubts.bias_mps2 * doubts.bias_mps2);
    fit = normal.ldlt().solve(right);
    const Eigen::MatrixXd covariance = variance * normal.inverse();
    out.bias_mps2 = fit(nodes);
    for (Eigen::Index node = 0; node < nodes; ++node) {
        const double mach = lowest + step * static_cast<double>(node);
        double density_sigma = 0, speed_sigma = 0, weight = 0;
        for (const Block& block : blocks) {
            const double near = std::max(0.0, 1 - std::abs(block.mach - mach) / step);
            density_sigma += near * block.density_sigma;
            speed_sigma += near * block.speed_sigma;
            weight += near;
        }
        if (weight > 0) {
            density_sigma /= weight;
            speed_sigma /= weight;
        }
        const double common = std::hypot(std::hypot(masses.dry_sigma_kg / masses.dry_kg, doubts.scale),
                                         std::hypot(density_sigma, 2 * speed_sigma));
        const Found cd = found(fit(node), std::hypot(std::sqrt(covariance(node, node)), common * fit(node)));
        if (!(cd.value > 0) || !(cd.sigma < kWorst * cd.value)) continue;
        out.mach.push_back(mach);
        out.cd.push_back(cd.value);
        out.sigma.push_back(cd.sigma);
        out.low.push_back(cd.interval.low);
        out.high.push_back(cd.interval.high);
    }
    if (out.mach.empty()) out.why = "what the coast shows of drag is not known to a quarter";
    return out;
}

} // namespace turnstone::analysis
