#pragma once
/// Boost.Math's distributions as this folder uses them: what is undefined gives NaN and never throws.
#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/fisher_f.hpp>
#include <boost/math/distributions/non_central_chi_squared.hpp>
#include <boost/math/distributions/non_central_t.hpp>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <boost/math/policies/policy.hpp>

namespace turnstone::analysis {

namespace policies = boost::math::policies;

using Quiet = policies::policy<
    policies::domain_error<policies::ignore_error>, policies::pole_error<policies::ignore_error>,
    policies::overflow_error<policies::ignore_error>, policies::underflow_error<policies::ignore_error>,
    policies::denorm_error<policies::ignore_error>, policies::rounding_error<policies::ignore_error>,
    policies::evaluation_error<policies::ignore_error>, policies::indeterminate_result_error<policies::ignore_error>>;

using Normal = boost::math::normal_distribution<double, Quiet>;
using StudentsT = boost::math::students_t_distribution<double, Quiet>;
using NonCentralT = boost::math::non_central_t_distribution<double, Quiet>;
using FisherF = boost::math::fisher_f_distribution<double, Quiet>;
using NonCentralChiSquared = boost::math::non_central_chi_squared_distribution<double, Quiet>;
using ChiSquared = boost::math::chi_squared_distribution<double, Quiet>;

} // namespace turnstone::analysis
