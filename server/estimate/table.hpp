#pragma once
/// How estimators announce their columns and hand out rows and events. The pipeline turns a table described here into
/// "<vehicle>/estimate/<name>" of its schema; estimators know nothing of schemas, batches or vehicles' numbers.
#include <cstddef>
#include <cstdint>
#include <map>
#include <span>
#include <string>
#include <vector>

#include "server/estimate/event.hpp"

namespace turnstone {

/// One number column. Estimates have no text columns: words are enumerations.
struct EstimateColumn {
    std::string name; ///< snake_case with unit: "altitude_m", its 1-sigma "altitude_m_sigma"
    std::string description;
    std::string unit;  ///< UCUM; "1" when dimensionless
    std::string group; ///< display group; empty: not shown by default
    int decimals = 2;
    std::map<std::int64_t, std::string> enumeration = {}; ///< value to word; empty: a plain number
    std::string sigma_column = {}; ///< column of the same table that holds its 1-sigma; empty: none
};

struct EstimateTable {
    std::string name; ///< short: "vertical", "phase"; the pipeline adds vehicle and folder
    std::string title;
    double period_s = 0; ///< expected between rows; 0: sporadic
    std::vector<EstimateColumn> columns;
};

/// An event as an estimator knows it. The sink adds vehicle and time of finding, and puts "<vehicle>/" before `key`.
struct EstimateEvent {
    std::int64_t t_ns; ///< when it happened; may lie before the measurement that showed it
    double t_sigma_s;  ///< 1-sigma of t_ns; 0: exact
    EventKind kind;
    Level level;
    std::string key; ///< "phase/apogee", "sensor/static_pressure/stuck"
    std::string text;
    std::string data_json = "{}";
};

/// Where a chain's results go. Valid during the call it is passed to.
class EstimateSink {
  public:
    /// `table` indexes EstimatorChain::tables(); `values` in its columns' order, NaN for no value. Copied; may allocate
    /// only until the batch has grown to its usual size.
    virtual void row(std::size_t table, std::int64_t t_ns, std::span<const double> values) = 0;
    virtual void event(EstimateEvent event) = 0;

  protected:
    ~EstimateSink() = default;
};

} // namespace turnstone
