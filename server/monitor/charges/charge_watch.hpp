#pragma once
/// Follows a vehicle's rows for the firing of an ejection charge, waits until what was measured around it has come, and
/// has it analysed (server/analysis/charge): a row of the charge's table, an event that it fired, one for each edge.
///
/// That a charge fired is known, from the best evidence to the poorest: by the vehicle's word (role charge_fired); by
/// the igniter's current among what is sent afterwards; and on the ground, where nothing else explains it, by a shock
/// with a pressure pulse, by an igniter that lost its continuity, or by a marker that names the charge. Better evidence
/// of the same firing takes the place of poorer. The row comes kLookAfter_s after the firing and a little: slow radios
/// send what was kept for seconds.
///
/// A charge in flight works against other pressure and load than one on a tether. One that fires when the vehicle is
/// down already is late, and the flight's all the same, until the vehicle is ready again or put to a test.
#include <cstdint>
#include <deque>
#include <optional>
#include <string>
#include <vector>

#include "server/monitor/charges/charge_readings.hpp"
#include "server/monitor/charges/charge_table.hpp"
#include "server/pipeline/batch.hpp"
#include "server/pipeline/events.hpp"
#include "server/pipeline/setup.hpp"

namespace turnstone {

class ChargeWatch {
  public:
    /// Of the vehicle's charges, without "<vehicle>/".
    [[nodiscard]] static std::vector<TableDescription> tables(const VehicleSetup& vehicle);

    /// `vehicle`: its place in the setup. Both must outlive it.
    ChargeWatch(const PipelineSetup& setup, const Schema& schema, std::size_t vehicle);

    /// What was appended to `batch` since `from`.
    void see(const Batch& batch, Marks from);
    /// Announces and analyses what is due.
    void tick(std::int64_t t_ns, Batch& out);

  private:
    /// From the poorest.
    enum class Evidence : unsigned char { marker, continuity, shock, current, vehicle };
    struct Firing {
        std::size_t charge;
        Evidence evidence;
        std::int64_t t_ns;
        double sigma_s;
        std::int64_t found_ns;
        bool told = false;
    };
    struct Igniter {
        std::size_t column, charge;
        std::int64_t t_good_ns = 0; ///< newest; 0: never, or it has been told
    };
    /// Where a table tells of firings; -1: nowhere.
    struct Source {
        int fired = -1, number = -1, current = -1;
        std::vector<Igniter> igniters;
    };

    [[nodiscard]] Source source_of(const Table& table) const;
    void see_row(const Batch& batch, const RowRecord& row, Source& source);
    void see_igniters(std::span<const double> numbers, const RowRecord& row, Source& source);
    void see_event(const Event& event);
    /// Of a procedure that is begun.
    [[nodiscard]] bool is_test(const Event& begun) const;
    /// From 1; 0: of no charge of ours.
    [[nodiscard]] std::size_t charge_number(double number) const;
    void fired(const Firing& firing);
    void announce(Firing& firing, std::int64_t t_ns, Batch& out) const;
    void finish(const Firing& firing, std::int64_t t_ns, Batch& out);

    EventVehicle vehicle_;
    const Schema* schema_;
    std::vector<TableOf<analysis::ChargeFindings>> rows_; ///< by charge, as the next two
    std::vector<const Table*> tables_;
    std::vector<std::string> names_;
    std::vector<std::string> tests_;             ///< procedures that look at what a charge did
    std::vector<std::optional<Source>> sources_; ///< by table
    ChargeReadings readings_;
    std::size_t number_ = 0; ///< of the charge that rows tell of, from 1; 0: unknown
    bool flies_ = false;
    std::optional<std::int64_t> liftoff_ns_; ///< of the flight that firings are of; none: of a test on the ground
    std::optional<std::int64_t> shock_ns_, pulse_ns_;
    std::vector<Firing> open_;                         ///< without a row yet
    std::vector<std::optional<std::int64_t>> done_ns_; ///< by charge: its newest firing that has a row
};

} // namespace turnstone
