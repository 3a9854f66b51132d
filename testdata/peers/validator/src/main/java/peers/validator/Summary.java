package peers.validator;

import com.fasterxml.jackson.annotation.JsonProperty;
import com.fasterxml.jackson.annotation.JsonPropertyOrder;
import java.util.ArrayList;
import java.util.List;
import java.util.Map;
import java.util.TreeMap;

/** The outcome of one run, as printed: every error and every warning that nobody allowed; the rest is counted. */
@JsonPropertyOrder({"validator", "errors", "warnings", "allowed", "notes", "uncheckedSystems", "unusedAllowances", "files"})
final class Summary {

    /** One file: its errors and warnings in full, accepted warnings by message id. */
    record FileSummary(String file, List<Message> errors, List<Message> warnings, Map<String, Integer> allowed, int notes) {}

    @JsonProperty
    final String validator = "HL7 org.hl7.fhir.core 6.7.9 in HAPI FHIR 8.8.0, R4, offline";

    @JsonProperty
    int errors;

    @JsonProperty
    int warnings;

    @JsonProperty
    int allowed;

    @JsonProperty
    int notes;

    /** Code systems whose codes nobody could check here, with the number of codes met. */
    @JsonProperty
    final Map<String, Integer> uncheckedSystems = new TreeMap<>();

    @JsonProperty
    final List<String> unusedAllowances = new ArrayList<>();

    @JsonProperty
    final List<FileSummary> files = new ArrayList<>();

    private final List<Allowance> allowances;

    Summary(List<Allowance> allowances) {
        this.allowances = allowances;
        allowances.forEach(allowance -> unusedAllowances.add(name(allowance)));
    }

    void add(String file, List<Message> messages) {
        var summary = new FileSummary(file, new ArrayList<>(), new ArrayList<>(), new TreeMap<>(), count(messages));
        for (Message message : messages) {
            switch (message.severity()) {
                case ERROR -> summary.errors.add(message);
                case WARNING -> sort(message, summary);
                case INFORMATION -> {} // counted already
            }
            if (message.uncheckedSystem() != null) {
                uncheckedSystems.merge(message.uncheckedSystem(), 1, Integer::sum);
            }
        }
        errors += summary.errors.size();
        warnings += summary.warnings.size();
        notes += summary.notes;
        files.add(summary);
    }

    private void sort(Message warning, FileSummary summary) {
        for (Allowance allowance : allowances) {
            if (allowance.fits(warning)) {
                summary.allowed.merge(warning.id(), 1, Integer::sum);
                unusedAllowances.remove(name(allowance));
                allowed++;
                return;
            }
        }
        summary.warnings.add(warning);
    }

    private static int count(List<Message> messages) {
        return (int) messages.stream()
                .filter(message -> message.severity() == Message.Severity.INFORMATION)
                .count();
    }

    private static String name(Allowance allowance) {
        return allowance.id() + " " + allowance.text();
    }
}
