#pragma once
/// What people have under way at a station: its countdown, and of each vehicle a procedure with its steps. Known from
/// the tape's events, and from what was accepted and has not become an event yet, so that a request which would do
/// nothing is refused with words. Serve thread only.
///
///     accepted ──▶ asked ──▶ pipeline ──▶ event ──▶ told
///
/// What is so now is what was told, with what was asked on top of it, in order. The pipeline takes what is asked in its
/// order: an event that answers something is behind all that was asked before it, also behind what made no event.
#include <deque>
#include <map>
#include <set>
#include <string>
#include <variant>

#include "server/pipeline/action.hpp"
#include "server/pipeline/events.hpp"
#include "server/pipeline/setup.hpp"

namespace turnstone {

class UnderWay {
  public:
    /// `setup`: of the tape that begins. Must outlive what follows.
    void begin(const PipelineSetup& setup);
    /// An event of the tape.
    void see(const Event& event);

    // Why it would do nothing now, and what to do, as a sentence; empty: it would do something. The vehicle, its
    // procedure, step or statement must be known.
    [[nodiscard]] std::string refuse(const Countdown& step) const;
    [[nodiscard]] std::string refuse(const ProcedureCommand& command) const;
    [[nodiscard]] std::string refuse(const StepCommand& command) const;
    [[nodiscard]] std::string refuse(const CheckStatement& statement) const;
    /// Was accepted: an event is to come.
    void ask(const Countdown& step);
    void ask(const ProcedureCommand& command);
    void ask(const StepCommand& command);

    /// The procedure of a vehicle that is under way; null: none.
    [[nodiscard]] const Procedure* procedure_of(const std::string& vehicle) const;

  private:
    enum class CountdownState : unsigned char { none, runs, held };
    struct Steps {
        std::string procedure = {};      ///< empty: none
        std::set<std::string> over = {}; ///< steps that are done or waived
        /// A step was asked for that its checks may hold back: what is under way shows with the event.
        bool unsure = false;
    };
    struct Vehicle {
        Steps told;
        std::deque<std::variant<ProcedureCommand, StepCommand>> asked;
    };

    [[nodiscard]] const VehicleSetup* setup_of(const std::string& vehicle) const;
    [[nodiscard]] const Vehicle* find(const std::string& vehicle) const;
    [[nodiscard]] Steps now(const std::string& vehicle) const;
    static void apply(const VehicleSetup& setup, const StepCommand& command, Steps& steps);
    [[nodiscard]] static CountdownState state_after(CountdownStep step) noexcept;
    [[nodiscard]] CountdownState countdown() const;

    const PipelineSetup* setup_ = nullptr;
    std::map<std::string, Vehicle> vehicles_; ///< by name
    CountdownState countdown_told_ = CountdownState::none;
    std::deque<CountdownStep> countdown_asked_;
};

} // namespace turnstone
