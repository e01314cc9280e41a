#pragma once
/// A table's columns, each defined once: name, meaning and unit beside the function that fills it.
///
///     TableOf<Report> table{"vertical", "Vertical motion", 0.02};
///     table.add({"altitude_m", "Altitude AGL", "m"}, [](const Report& r) { return r.altitude_m; })
///         .sigma([](const Report& r) { return r.altitude_sigma_m; });
///
/// To add a column, add a line. One list describes the table and fills its rows.
#include <cstddef>
#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "server/estimate/event.hpp"
#include "shared/words.hpp"

namespace turnstone {

/// A limit that is drawn beside a column's values.
struct ColumnLimit {
    bool is_low; ///< values below it are beyond it
    Level level; ///< of the alert there
    double value;
    friend bool operator==(const ColumnLimit&, const ColumnLimit&) = default;
};

/// One column of any table: a channel of a packet, an estimate, a figure of a link.
struct Column {
    std::string name;       ///< snake_case with unit where one applies: "altitude_m", "accel_body_x"
    std::string title;      ///< a few words for a heading: "Altitude AGL"
    std::string unit = "1"; ///< UCUM; "1" when dimensionless
    std::string group = {}; ///< display group; empty: not shown by default
    int decimals = 2;
    std::string description = {};  ///< what the title leaves out
    Enumeration enumeration = {};  ///< value to word; empty: a plain number
    std::string sigma_column = {}; ///< column of the same table that holds its 1-sigma; empty: none
    bool is_text = false;
    std::optional<std::pair<double, double>> valid_range = {};
    std::string role = {}; ///< what estimators take it for (protocol/dictionary/roles.hpp); empty: none
    std::string strip_title =
        {};                      ///< of the strip it is drawn on with other columns of the table; empty: one of its own
    std::string strip_line = {}; ///< tells it from the others there: "east"
    std::string low_column = {}; ///< columns of the same table between which the value lies with 90 %; empty: none
    std::string high_column = {};
    /// Every value is `zero` plus a whole number of times `step`, as computed in double; step 0: no such step is known.
    double step = 0, zero = 0;
    std::vector<ColumnLimit> limits = {};
    bool from_predictions = false; ///< has other values where predictions are passed over
    friend bool operator==(const Column&, const Column&) = default;
};

struct TableDescription {
    std::string name; ///< short: "vertical", "phase"; the pipeline adds vehicle and folder
    std::string title;
    double period_s = 0; ///< expected between rows; 0: sporadic
    std::vector<Column> columns = {};
};

/// A table whose rows are made from a Source. Numbers only: words are enumerations.
template <class Source>
class TableOf {
  public:
    using Value = std::function<double(const Source&)>;

    TableOf(std::string name, std::string title, double period_s)
        : about_{std::move(name), std::move(title), period_s, {}} {}

    TableOf& add(Column column, Value value) {
        about_.columns.push_back(std::move(column));
        values_.push_back(std::move(value));
        return *this;
    }
    /// The 90 % interval of the column before: names of the columns with its bounds.
    TableOf& interval(std::string low, std::string high) {
        about_.columns.back().low_column = std::move(low);
        about_.columns.back().high_column = std::move(high);
        return *this;
    }
    /// The 1-sigma of the column before: "<name>_sigma", in its unit.
    TableOf& sigma(Value value, int decimals = 2) {
        Column& of = about_.columns.back();
        of.sigma_column = of.name + "_sigma";
        Column column{of.sigma_column, of.title + ", 1-sigma", of.unit};
        column.decimals = decimals;
        return add(std::move(column), std::move(value));
    }

    [[nodiscard]] const TableDescription& about() const noexcept { return about_; }
    /// The row of `source`, in the order of about().columns. Valid until the next call.
    [[nodiscard]] std::span<const double> row(const Source& source) {
        row_.resize(values_.size());
        for (std::size_t i = 0; i < values_.size(); ++i) row_[i] = values_[i](source);
        return row_;
    }

  private:
    TableDescription about_;
    std::vector<Value> values_;
    std::vector<double> row_;
};

/// Where an estimator's events go.
class EventSink {
  public:
    virtual void event(EstimateEvent event) = 0;

  protected:
    ~EventSink() = default;
};

/// Where a chain's rows and events go. Valid during the call it is passed to.
class EstimateSink : public EventSink {
  public:
    /// `table` indexes EstimatorChain::tables(). Copied; may allocate only until the batch has grown to its usual size.
    virtual void row(std::size_t table, std::int64_t t_ns, std::span<const double> values) = 0;

  protected:
    ~EstimateSink() = default;
};

/// A table's place among a chain's, and its rows.
template <class Source>
class RowWriter {
  public:
    /// Appends the table to `tables`.
    RowWriter(TableOf<Source> table, std::vector<TableDescription>& tables)
        : table_(std::move(table)), index_(tables.size()) {
        tables.push_back(table_.about());
    }
    void write(std::int64_t t_ns, const Source& source, EstimateSink& sink) {
        sink.row(index_, t_ns, table_.row(source));
    }

  private:
    TableOf<Source> table_;
    std::size_t index_;
};

} // namespace turnstone
