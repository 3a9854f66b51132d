package peers.hapi;

import ca.uhn.fhir.batch2.jobs.config.Batch2JobsConfig;
import ca.uhn.fhir.context.support.IValidationSupport;
import ca.uhn.fhir.jpa.api.config.JpaStorageSettings;
import ca.uhn.fhir.jpa.api.config.ThreadPoolFactoryConfig;
import ca.uhn.fhir.jpa.api.dao.IFhirSystemDao;
import ca.uhn.fhir.jpa.batch2.JpaBatch2Config;
import ca.uhn.fhir.jpa.binary.api.IBinaryStorageSvc;
import ca.uhn.fhir.jpa.binstore.DatabaseBinaryContentStorageSvcImpl;
import ca.uhn.fhir.jpa.config.HapiJpaConfig;
import ca.uhn.fhir.jpa.config.r4.JpaR4Config;
import ca.uhn.fhir.jpa.config.util.HapiEntityManagerFactoryUtil;
import ca.uhn.fhir.jpa.model.config.PartitionSettings;
import ca.uhn.fhir.jpa.model.config.SubscriptionSettings;
import ca.uhn.fhir.jpa.provider.IJpaSystemProvider;
import ca.uhn.fhir.jpa.provider.JpaCapabilityStatementProvider;
import ca.uhn.fhir.jpa.search.DatabaseBackedPagingProvider;
import ca.uhn.fhir.jpa.subscription.channel.config.SubscriptionChannelConfig;
import ca.uhn.fhir.jpa.subscription.submit.config.SubscriptionSubmitterConfig;
import ca.uhn.fhir.narrative2.NullNarrativeGenerator;
import ca.uhn.fhir.context.FhirContext;
import ca.uhn.fhir.rest.api.EncodingEnum;
import ca.uhn.fhir.rest.server.RestfulServer;
import ca.uhn.fhir.rest.server.provider.ResourceProviderFactory;
import ca.uhn.fhir.rest.server.util.ISearchParamRegistry;
import jakarta.persistence.EntityManagerFactory;
import java.util.Map;
import javax.sql.DataSource;
import org.apache.commons.dbcp2.BasicDataSource;
import org.springframework.beans.factory.config.ConfigurableListableBeanFactory;
import org.springframework.context.annotation.Bean;
import org.springframework.context.annotation.Configuration;
import org.springframework.context.annotation.Import;
import org.springframework.context.annotation.Primary;
import org.springframework.orm.jpa.JpaTransactionManager;
import org.springframework.orm.jpa.LocalContainerEntityManagerFactoryBean;

/**
 * Wires HAPI's own beans together. Nothing about its strictness is changed: references must resolve, conditional
 * references are resolved, ids chosen by the client need a letter, a search answer may be 60 s old unless the client
 * says {@code Cache-Control: no-cache}. A hospital that installs HAPI meets the same.
 */
@Configuration
@Import({
    JpaR4Config.class,
    HapiJpaConfig.class,
    ThreadPoolFactoryConfig.class,
    JpaBatch2Config.class,
    Batch2JobsConfig.class,
    SubscriptionChannelConfig.class,
    SubscriptionSubmitterConfig.class
})
public class HapiConfig {

    /** System property with the JDBC address of the H2 database. */
    static final String DATABASE = "peers.hapi.database";

    @Bean
    public JpaStorageSettings storageSettings() {
        var settings = new JpaStorageSettings();
        settings.setSchedulingDisabled(true); // no clean-up jobs: they would only disturb what a test measures
        return settings;
    }

    @Bean
    public DataSource dataSource() {
        var pool = new BasicDataSource();
        pool.setUrl(System.getProperty(DATABASE));
        pool.setUsername("sa");
        pool.setPassword("");
        pool.setMaxTotal(32); // more than a test has senders
        return pool;
    }

    @Bean
    @Primary
    public LocalContainerEntityManagerFactoryBean entityManagerFactory(
            DataSource database, ConfigurableListableBeanFactory beans, FhirContext fhir, JpaStorageSettings settings) {
        var factory = HapiEntityManagerFactoryUtil.newEntityManagerFactory(beans, fhir, settings);
        factory.setPersistenceUnitName("hapi");
        factory.setDataSource(database);
        factory.setJpaPropertyMap(Map.of(
                "hibernate.dialect", "ca.uhn.fhir.jpa.model.dialect.HapiFhirH2Dialect",
                "hibernate.hbm2ddl.auto", "update",
                "hibernate.jdbc.batch_size", "20",
                "hibernate.search.enabled", "false"));
        return factory;
    }

    @Bean
    @Primary
    public JpaTransactionManager transactionManager(EntityManagerFactory factory) {
        return new JpaTransactionManager(factory);
    }

    @Bean
    public RestfulServer restfulServer(
            IFhirSystemDao<?, ?> system,
            IJpaSystemProvider systemOperations,
            ResourceProviderFactory resourceProviders,
            JpaStorageSettings settings,
            ISearchParamRegistry searchParameters,
            IValidationSupport definitions,
            DatabaseBackedPagingProvider pages) {
        var fhir = system.getContext();
        fhir.setNarrativeGenerator(new NullNarrativeGenerator()); // an answer holds what was sent, no invented text
        var server = new RestfulServer(fhir);
        server.registerProviders(resourceProviders.createProviders());
        server.registerProvider(systemOperations);
        server.setServerConformanceProvider(
                new JpaCapabilityStatementProvider(server, system, settings, searchParameters, definitions));
        server.setPagingProvider(pages);
        server.setDefaultResponseEncoding(EncodingEnum.JSON);
        return server;
    }

    // The beans below are needed to start at all; tests use none of what they set up.

    @Bean
    public PartitionSettings partitionSettings() {
        return new PartitionSettings();
    }

    @Bean
    public SubscriptionSettings subscriptionSettings() {
        return new SubscriptionSettings();
    }

    @Bean
    public IBinaryStorageSvc binaryStorage() {
        return new DatabaseBinaryContentStorageSvcImpl();
    }
}
