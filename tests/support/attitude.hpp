#pragma once
/// Vectors and attitudes as reference files write them: numbers in a row, the quaternion's scalar first.
#include <algorithm>

#include <Eigen/Geometry>
#include <nlohmann/json.hpp>

namespace turnstone::test {

inline Eigen::Vector3d vector_of(const nlohmann::json& row, std::size_t first = 0) {
    return {row.at(first).get<double>(), row.at(first + 1).get<double>(), row.at(first + 2).get<double>()};
}

inline Eigen::Quaterniond quaternion_of(const nlohmann::json& row, std::size_t first = 0) {
    return {row.at(first).get<double>(), row.at(first + 1).get<double>(), row.at(first + 2).get<double>(),
            row.at(first + 3).get<double>()};
}

/// Length of the difference of the components; q and -q are the same attitude.
inline double distance(const Eigen::Quaterniond& a, const Eigen::Quaterniond& b) {
    return std::min((a.coeffs() - b.coeffs()).norm(), (a.coeffs() + b.coeffs()).norm());
}

} // namespace turnstone::test
